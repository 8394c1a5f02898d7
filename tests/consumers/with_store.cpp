#include <seamhold/file/weld_store.hpp>

#include <cstdio>

// An outside program that uses the component store.
int main() {
    char const* const path = "consumer.store";
    std::remove(path);
    seamhold::WeldStore store(path);
    return store.numbers().empty() && store.opening().made ? 0 : 1;
}

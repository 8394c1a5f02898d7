#define DOCTEST_CONFIG_IMPLEMENT_WITH_MAIN
#include <doctest/doctest.h>

#include "support/seeds.hpp"

#include <iostream>

// The one main of all test programs. Beside doctest's own report it prints the seeds of a failed random
// check, and closes with the line that tests/run adds up.

namespace {

class SeedsAndCounts final : public doctest::IReporter {
public:
    explicit SeedsAndCounts(doctest::ContextOptions const& options) : options_(options) {}

    void test_case_start(doctest::TestCaseData const&) override { forget(); }
    void test_case_reenter(doctest::TestCaseData const&) override { forget(); }
    void log_assert(doctest::AssertData const& check) override {
        if (check.m_failed) {
            print_seeds();
        }
    }
    void test_case_exception(doctest::TestCaseException const&) override { print_seeds(); }
    void test_run_end(doctest::TestRunStats const& stats) override {
        unsigned const failed = stats.numTestCasesFailed;
        *options_.cout << stats.numTestCasesPassingFilters - failed << " passed, " << failed << " failed\n";
    }

    void report_query(doctest::QueryData const&) override {}
    void test_run_start() override {}
    void test_case_end(doctest::CurrentTestCaseStats const&) override {}
    void subcase_start(doctest::SubcaseSignature const&) override {}
    void subcase_end() override {}
    void log_message(doctest::MessageData const&) override {}
    void test_case_skipped(doctest::TestCaseData const&) override {}

private:
    void forget() {
        printed_ = false;
        seamhold::test::seeds_in_use().clear();
    }
    void print_seeds() {
        if (printed_ || seamhold::test::seeds_in_use().empty()) {
            return;
        }
        printed_ = true;
        *options_.cout << "random seeds in this test case:";
        for (auto const seed : seamhold::test::seeds_in_use()) {
            *options_.cout << ' ' << seed;
        }
        *options_.cout << '\n';
    }

    doctest::ContextOptions const& options_;
    bool printed_ = false;
};

DOCTEST_REGISTER_LISTENER("seeds_and_counts", 1, SeedsAndCounts);

} // namespace

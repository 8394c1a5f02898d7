#include "seamhold/file/write.hpp"

#include "seamhold/file/read.hpp"
#include "small_disk.hpp"
#include "temporary.hpp"

#include <doctest/doctest.h>

#include <filesystem>
#include <string>

#include <sys/stat.h>

using seamhold::read_text;
using seamhold::WholeFile;
using seamhold::write_text;
using seamhold::test::content_of;
using seamhold::test::message_of;
using seamhold::test::SmallDisk;
using seamhold::test::TemporaryFolder;

TEST_CASE("a text is written as it is, over what was there") {
    TemporaryFolder const folder;
    std::string large = "µ\r\n";
    for (int i = 0; i < 200000; ++i)
        large += std::to_string(i) + "\n";
    write_text(folder / "a.txt", "old");
    write_text(folder / "a.txt", large);
    CHECK(content_of(folder / "a.txt") == large);
    CHECK(read_text(folder / "a.txt") == large);
    write_text(folder / "empty.txt", "");
    CHECK(content_of(folder / "empty.txt").empty());
    CHECK(folder.names().size() == 2);
    // The rights are those of any new file, not those of a private temporary one.
    auto const mask = ::umask(022);
    write_text(folder / "a.txt", "new");
    ::umask(mask);
    CHECK(std::filesystem::status(folder / "a.txt").permissions() == std::filesystem::perms(0644));
}

TEST_CASE("until it is committed, nothing has the name") {
    TemporaryFolder const folder;
    write_text(folder / "a.txt", "old");
    {
        WholeFile file(folder / "a.txt");
        file.write(std::string(1'000'000, 'x'));
        CHECK(content_of(folder / "a.txt") == "old");
        CHECK(folder.names().size() == 2); // in the same folder, so that the last step is one rename
    }
    CHECK(content_of(folder / "a.txt") == "old");
    CHECK(folder.names().size() == 1);
}

TEST_CASE("a disk that fills up is an error that leaves nothing half-written") {
    TemporaryFolder const folder;
    folder.file("a.txt", "old");
    {
        SmallDisk const disk(300'000);
        CHECK(message_of([&] { write_text(folder / "a.txt", std::string(1'000'000, 'x')); }) ==
              "a.txt: cannot be written: File too large");
        CHECK(message_of([&] {
                  WholeFile file(folder / "a.txt");
                  for (int i = 0; i < 100'000; ++i)
                      file.write("a row of ten digits\n");
                  file.commit();
              }) == "a.txt: cannot be written: File too large");
        CHECK(message_of([&] {
                  WholeFile file(folder / "a.txt");
                  message_of([&] { file.write(std::string(1'000'000, 'x')); });
                  file.commit(); // someone who did not listen
              }).find("a.txt: cannot be") == 0);
    }
    CHECK(content_of(folder / "a.txt") == "old");
    CHECK(folder.names().size() == 1);
}

TEST_CASE("what cannot be written is said with its path") {
    TemporaryFolder const folder;
    folder.file("plain", "");
    std::filesystem::create_directory(folder / "sub");
    CHECK(message_of([&] { write_text(folder / "none/a.txt", "x"); }) ==
          "a.txt: cannot be written: No such file or directory");
    CHECK(message_of([&] { write_text(folder / "plain/a.txt", "x"); }) ==
          "a.txt: cannot be written: Not a directory");
    CHECK(message_of([&] { write_text(folder / "sub", "x"); }) ==
          "sub: cannot be written: not an ordinary file has this name");
    CHECK(message_of([] { write_text("/dev/full", "x"); }) ==
          "full: cannot be written: not an ordinary file has this name");
    CHECK(message_of([] { write_text("", "x"); }) != "no error");
    CHECK(folder.names().size() == 2);
}

TEST_CASE("a link stays a link, and the file it leads to is replaced") {
    TemporaryFolder const folder;
    folder.file("real.txt", "old");
    std::filesystem::create_symlink(folder / "real.txt", folder / "link.txt");
    write_text(folder / "link.txt", "new");
    CHECK(std::filesystem::is_symlink(folder / "link.txt"));
    CHECK(content_of(folder / "real.txt") == "new");
    CHECK(folder.names().size() == 2);
}

#include "daemon/service/secret_files.h"

#include <doctest/doctest.h>

namespace torpor::daemon {

TEST_CASE("a token that follows a pattern is named as one, and one chosen by chance is not") {
  struct Row {
    const char* token;
    const char* weakness;
  };
  const Row rows[] = {
      {"", "it has 0 characters, fewer than 16"},
      {"9f8b2c71d04e6a3", "it has 15 characters, fewer than 16"},
      {"9f8b2c71d04e6a35", ""},
      {"swift-otter-9134-lake", ""},
      {"aaaaaaaaaaaaaaaaaaaa", "it is one character again and again"},
      {"abcabcabcabcabcabc", "it is the same 3 characters again and again"},
      {"passwordpassword", "it is the same 8 characters again and again"},
      {"abcdefghijklmnopqrst", "its characters stand in order"},
      {"1234567890123456", "its characters stand in order"},
      {"zyxwvutsrqponmlk", "its characters stand in order"},
      {"aabbaaccaabbbacca", "it has only 3 different characters"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.token);
    CHECK(token_weakness(row.token) == row.weakness);
  }
}

}  // namespace torpor::daemon

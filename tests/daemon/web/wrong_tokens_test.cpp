#include "daemon/web/wrong_tokens.h"

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

using namespace std::chrono_literals;

WrongTokens::Time at_second(int second) { return WrongTokens::Time(1h) + 1s * second; }

}  // namespace

TEST_CASE("an address waits twice as long for each wrong token, up to 30 s, and others do not") {
  WrongTokens tokens(1s);
  for (const auto pause : {1s, 2s, 4s, 8s, 16s, 30s, 30s}) {
    CHECK(tokens.note("10.0.0.7", at_second(0)) == pause);
  }
  CHECK(tokens.note("10.0.0.8", at_second(0)) == 1s);
}

TEST_CASE("ten minutes without a wrong token are forgiven, less are not") {
  WrongTokens tokens(1s);
  CHECK(tokens.note("10.0.0.7", at_second(0)) == 1s);
  CHECK(tokens.note("10.0.0.7", at_second(600)) == 2s);
  CHECK(tokens.note("10.0.0.7", at_second(1201)) == 1s);
}

TEST_CASE("the log has a line at once and then one a minute, with how many and from where") {
  WrongTokens tokens(1s);
  CHECK_FALSE(tokens.take_report(at_second(0)));
  (void)tokens.note("10.0.0.7", at_second(0));
  CHECK(tokens.take_report(at_second(0)) ==
        "web pages: 1 wrong token from 10.0.0.7; whoever it is waits for each answer, and the "
        "right token does not");
  for (int i = 0; i < 79; ++i) (void)tokens.note("10.0.0.7", at_second(1));
  (void)tokens.note("10.0.0.8", at_second(1));
  CHECK_FALSE(tokens.take_report(at_second(59)));
  CHECK(tokens.take_report(at_second(60)) ==
        "web pages: 80 wrong tokens from 2 addresses, 79 of them from 10.0.0.7; whoever it is "
        "waits for each answer, and the right token does not");
  CHECK_FALSE(tokens.take_report(at_second(200)));  // none since
}

TEST_CASE("addresses without end share a place, and a new one finds room once they are quiet") {
  WrongTokens tokens(1s);
  for (int i = 0; i < 1000; ++i) (void)tokens.note(std::to_string(i), at_second(0));
  CHECK(tokens.note("10.0.0.9", at_second(1)) == 30s);
  CHECK(tokens.take_report(at_second(1)));
  CHECK(tokens.note("10.0.0.9", at_second(700)) == 1s);
}

}  // namespace torpor::daemon

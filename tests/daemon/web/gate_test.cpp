#include "daemon/web/gate.h"

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

const GateSettings kOpenHouse{"http://cellar.lan:8457", ""};
const GateSettings kGuarded{"http://cellar.lan:8457", "swift-otter-9134-lake"};
// Of kGuarded's token; coreutils: printf %s mara:swift-otter-9134-lake | base64
constexpr const char* kRight = "Basic bWFyYTpzd2lmdC1vdHRlci05MTM0LWxha2U=";

Passage judged(const GateSettings& settings, std::string_view host,
               std::string_view authorization = "", std::string_view cookie = "",
               std::string_view local = "192.168.1.7:8457") {
  return Gate(settings).judge({host, authorization, cookie, local});
}

}  // namespace

TEST_CASE("only our own names are answered") {
  for (const std::string_view host : {"cellar.lan:8457", "CELLAR.lan:8457", "192.168.1.7:8457"}) {
    CAPTURE(host);
    CHECK(judged(kOpenHouse, host) == Passage::open);
  }
  for (const std::string_view host :
       {"", "evil.example", "evil.example:8457", "cellar.lan", "cellar.lan:80", "192.168.1.8:8457",
        "localhost:8457", "cellar.lan:8457.evil.example", "127.0.0.1:8457"}) {
    CAPTURE(host);
    CHECK(judged(kOpenHouse, host) == Passage::wrong_host);
  }
}

TEST_CASE("on this computer localhost is our name, with the right port") {
  const auto here = [](std::string_view host) {
    return judged({"", ""}, host, "", "", "127.0.0.1:8457");
  };
  CHECK(here("localhost:8457") == Passage::open);
  CHECK(here("127.0.0.1:8457") == Passage::open);
  CHECK(here("localhost") == Passage::wrong_host);
  CHECK(here("localhost:8458") == Passage::wrong_host);
  CHECK(judged({"", ""}, "[::1]:8457", "", "", "[::1]:8457") == Passage::open);
}

TEST_CASE("the token opens once, and the cookie afterwards") {
  CHECK(judged(kGuarded, "cellar.lan:8457") == Passage::no_token);
  CHECK(judged(kGuarded, "cellar.lan:8457", kRight) == Passage::entered);
  CHECK(judged(kGuarded, "evil.example", kRight) == Passage::wrong_host);
  const std::string set = Gate(kGuarded).set_cookie();
  CHECK(set.find("HttpOnly; SameSite=Strict") != std::string::npos);
  CHECK(set.find("Secure") == std::string::npos);
  CHECK(set.find(kGuarded.token) == std::string::npos);
  const std::string cookie = set.substr(0, set.find(';'));
  CHECK(judged(kGuarded, "cellar.lan:8457", "", "a=b; " + cookie) == Passage::open);
  CHECK(judged(kGuarded, "cellar.lan:8457", "", cookie + "0") == Passage::no_token);
  CHECK(judged(kGuarded, "cellar.lan:8457", "", "x" + cookie) == Passage::no_token);
  CHECK(judged(kGuarded, "cellar.lan:8457", "", "torpor=") == Passage::no_token);
  CHECK(Gate({"https://cellar.lan", "swift-otter-9134-lake"}).set_cookie().ends_with("; Secure"));
  // Another token, another cookie: changing the token shuts out whoever had the old one.
  CHECK(judged({"http://cellar.lan:8457", "other-otter-9134-lake"}, "cellar.lan:8457", "",
               cookie) == Passage::no_token);
}

TEST_CASE("what is not the token is refused, however it is written") {
  for (const std::string_view authorization :
       {"Basic", "Basic ", "Basic !!!!", "Basic bWFyYTpzd2lmdC1vdHRlci05MTM0LWxha2", "Bearer x",
        "Basic c3dpZnQtb3R0ZXItOTEzNC1sYWtl", "Basic bWFyYTo="}) {
    CAPTURE(authorization);
    CHECK(judged(kGuarded, "cellar.lan:8457", authorization) == Passage::wrong_token);
  }
  CHECK(token_of(std::string("Basic ") + std::string(8000, 'A')).empty());
  CHECK(token_of("bAsIc bWFyYTo6YQ==") == ":a");
}

TEST_CASE("a cookie is found among others") {
  CHECK(cookie_named("a=1; torpor=abc; b=2", "torpor") == "abc");
  CHECK(cookie_named("torpor=abc", "torpor") == "abc");
  CHECK(cookie_named("nottorpor=abc; torporx=2", "torpor").empty());
  CHECK(cookie_named("", "torpor").empty());
}

}  // namespace torpor::daemon

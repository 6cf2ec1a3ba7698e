#include "daemon/report/markup.h"

#include <doctest/doctest.h>

#include <cmath>

namespace torpor::daemon {

TEST_CASE("elements nest as scopes do, and what is not content stays closed") {
  Markup page;
  page.doctype();
  {
    const auto list = page.in("ul", {{"class", "notes"}});
    page.element("li", "one");
    const auto item = page.in("li");
    page.lone("br", {});
    page.shape("path", {{"d", "M0 0"}});
  }
  CHECK(page.take() ==
        "<!DOCTYPE html>\n<ul class=\"notes\"><li>one</li><li><br><path d=\"M0 0\"/></li></ul>");
  CHECK(page.take().empty());
}

TEST_CASE("text and values cannot become markup") {
  Markup page;
  page.element("p", "</p><script>alert('1') & more</script>", {{"title", "\"><b onload=\"x"}});
  CHECK(page.take() ==
        "<p title=\"&quot;&gt;&lt;b onload=&quot;x\">&lt;/p&gt;&lt;script&gt;alert('1') &amp; "
        "more&lt;/script&gt;</p>");
}

TEST_CASE("control characters and turned writing are shown, not done") {
  Markup page;
  page.text("a\x01\xff\u202e");
  CHECK(page.take() == "a\\x01\\xff\\u{202e}");
}

TEST_CASE("numbers are written with two decimals at most") {
  const auto value = [](double number) { return Attribute("x", number).value; };
  CHECK(value(3.0) == "3");
  CHECK(value(0.5) == "0.5");
  CHECK(value(1.0 / 3.0) == "0.33");
  CHECK(value(-0.001) == "0");
  CHECK(value(-12.25) == "-12.25");
}

}  // namespace torpor::daemon

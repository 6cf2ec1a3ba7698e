#include "daemon/web/pages.h"

#include <doctest/doctest.h>
#include <zlib.h>

#include "daemon/service/load_settings.h"
#include "daemon/web/digest.h"
#include "tests/daemon/report/small_cellar.h"

namespace torpor::daemon {
namespace {

struct FilledPages {
  tests::SmallCellar cellar;
  Pages pages;
  explicit FilledPages(bool fill = true) : pages(source(cellar, fill)) {}
  static PageSource source(const tests::SmallCellar& cellar, bool fill) {
    if (fill) cellar.fill();
    const Loaded loaded = load_settings(cellar.config(), Purpose::history).value();
    return {loaded.settings, loaded.zone, loaded.history, ""};
  }
  [[nodiscard]] std::string body(std::string_view path, int status = 200) {
    const auto page = pages.page(path);
    CHECK(page->status == status);
    return page->body;
  }
};

bool holds(const std::string& text, std::string_view part) {
  return text.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE("the shelves show every jar with its state in words and a link") {
  FilledPages cellar;
  const std::string page = cellar.body("/");
  for (const std::string_view part :
       {"cellar/shelf-1", "cellar/shelf-2", "href=\"/jar/B-01\"", "href=\"/jar/B-02\"",
        "href=\"/jar/X-9\"", "#jar-unwatched", "<i>unwatched</i>",
        // Nobody told what is in B-01; X-9 settles.
        "<b>B-01</b><i>unwatched</i><span>use: look first</span>",
        "<b>X-9</b><i>settling</i><span>use: no</span>", "15.0 °C, 60 %", "1 alert stands",
        "<a href=\"/alerts#alert-2\">alert 2</a>"}) {
    CAPTURE(part);
    CHECK(holds(page, part));
  }
  CHECK_FALSE(holds(page, "outside"));  // neither a jar nor a sensor is there
}

TEST_CASE("a jar's page is found by any spelling of its name") {
  FilledPages cellar;
  CHECK(holds(cellar.body("/jar/B-01"), "<h1>Jar B-01</h1>"));
  CHECK(holds(cellar.body("/jar/b1"), "<h1>Jar B-01</h1>"));
  CHECK(holds(cellar.body("/jar/B-01?x=1"), "Water activity"));
}

TEST_CASE("alerts come with their remedies, sensors with their trust") {
  FilledPages cellar;
  CHECK(holds(cellar.body("/alerts"), "2 warm-shelf"));
  CHECK(holds(cellar.body("/alerts"), "href=\"/jar/X-9\""));
  const std::string sensors = cellar.body("/sensors");
  CHECK(holds(sensors, "15.0 °C, 60.0 %"));
  for (const std::string_view state : {"silent", "believed", "never heard"}) {
    CAPTURE(state);
    CHECK(holds(sensors, "<b>" + std::string(state) + "</b>"));
  }
}

TEST_CASE("every page is in the person's units and says nothing in others") {
  FilledPages cellar;
  Loaded loaded = load_settings(cellar.cellar.config(), Purpose::history).value();
  loaded.settings.units = {true, true};
  cellar.pages.use({loaded.settings, loaded.zone, loaded.history, ""});
  for (const std::string_view path : {"/", "/jar/B-01", "/alerts", "/sensors"}) {
    CAPTURE(path);
    const std::string page = cellar.body(path);
    CHECK_FALSE(holds(page, "°C"));
    CHECK_FALSE(holds(page, " g<"));
    CHECK_FALSE(holds(page, " K "));
    CHECK(holds(page, "°F"));
  }
  CHECK(holds(cellar.body("/alerts"), "86.0 °F"));  // 30.0 °C
}

TEST_CASE("no path leads anywhere else") {
  FilledPages cellar;
  for (const std::string_view path :
       {"", "*", "/..", "/../../etc/passwd", "/jar/", "/jar/../B-01", "/jar/..%2f..%2fetc",
        "/jar/B-01/", "/jar/%42-01", "/jar/nobody", "//", "/torpor.yaml", "/history.sqlite3",
        "http://evil.example/", "/jar/<script>", "/ALERTS"}) {
    CAPTURE(path);
    const std::string page = cellar.body(path, 404);
    CHECK_FALSE(holds(page, "evil"));
    CHECK_FALSE(holds(page, "<script>"));
  }
}

TEST_CASE("nothing in a page runs or is asked of another server") {
  FilledPages cellar;
  for (const std::string_view path : {"/", "/jar/B-01", "/alerts", "/sensors"}) {
    const std::string page = cellar.body(path);
    CHECK_FALSE(holds(page, " style="));
    CHECK_FALSE(holds(page, "<style"));
    CHECK_FALSE(holds(page,
                      " on"
                      "load="));
    CHECK_FALSE(holds(page, "http://"));
    CHECK(holds(page, "<script src=\"/refresh.js\" defer=\"\"></script>"));
    CHECK(holds(page, "<noscript><meta http-equiv=\"refresh\" content=\"60\"></noscript>"));
  }
}

TEST_CASE("a history that is not there is said, and not kept") {
  FilledPages cellar(false);
  CHECK(holds(cellar.body("/", 500), "history cannot be read"));
  cellar.cellar.fill();
  CHECK(holds(cellar.body("/"), "B-01"));
}

TEST_CASE("a page that is asked again at once is the same page") {
  FilledPages cellar;
  CHECK(cellar.pages.page("/") == cellar.pages.page("/"));
  CHECK(cellar.pages.page("/")->tag != cellar.pages.page("/alerts")->tag);
}

TEST_CASE("a packed page unpacks to itself") {
  FilledPages cellar;
  const auto page = cellar.pages.page("/jar/B-01");
  REQUIRE_FALSE(page->packed.empty());
  CHECK(page->packed.size() * 3 < page->body.size());
  std::string unpacked(page->body.size(), '\0');
  z_stream stream{};
  REQUIRE(inflateInit2(&stream, 15 + 16) == Z_OK);
  std::string packed = page->packed;
  stream.next_in = reinterpret_cast<Bytef*>(packed.data());
  stream.avail_in = static_cast<uInt>(packed.size());
  stream.next_out = reinterpret_cast<Bytef*>(unpacked.data());
  stream.avail_out = static_cast<uInt>(unpacked.size());
  CHECK(inflate(&stream, Z_FINISH) == Z_STREAM_END);
  inflateEnd(&stream);
  CHECK(unpacked == page->body);
}

TEST_CASE("digests are those of the standards") {
  // FIPS 180-2, appendix B.1; RFC 4231, test case 2.
  CHECK(digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(keyed_digest("Jefe", "what do ya want for nothing?") ==
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
}

}  // namespace torpor::daemon

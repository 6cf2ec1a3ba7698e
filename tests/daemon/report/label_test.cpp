#include "daemon/report/label.h"

#include <doctest/doctest.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>

#include "daemon/report/qr_code.h"
#include "tests/daemon/report/sample_views.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::daemon {
namespace {

const LocalTime& label_zone() {
  static const LocalTime zone = LocalTime::in_zone("Europe/Vienna").value();
  return zone;
}

Label sample_label(const std::string& id = "B-07") {
  return {id, "IMO-2", at("2026-03-01T23:00:00Z"), Cover::kraft, Grams(1450)};
}

std::size_t occurrences(const std::string& text, const std::string& part) {
  std::size_t count = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) {
    ++count;
  }
  return count;
}

// What a reader of codes sees on the drawn sheet, one line each; nullopt: there is no reader here.
std::optional<std::string> read_codes(const std::string& svg) {
  const char* kTools = "command -v rsvg-convert >/dev/null && command -v zbarimg >/dev/null";
  if (std::system(kTools) != 0) return std::nullopt;
  const torpor::tests::TempFolder folder;
  folder.write("sheet.svg", svg);
  const std::string base = (folder.path() / "sheet").string();
  const std::string read = "rsvg-convert --dpi-x 300 --dpi-y 300 '" + base + ".svg' -o '" + base +
                           ".png' && zbarimg -q --raw '" + base + ".png' > '" + base + ".txt'";
  CHECK(std::system(read.c_str()) == 0);
  std::ifstream file(base + ".txt");
  return std::string(std::istreambuf_iterator<char>(file), {});
}

}  // namespace

TEST_CASE("a label says what must be known of a jar, and that it is not food") {
  const Label labels[] = {sample_label()};
  const std::string svg = labels_svg(labels, "http://cellar.lan:8457", label_zone());
  for (const char* part : {">B-07<", ">IMO-2<", "closed 2 Mar 2026", "cover kraft", "empty 1450 g",
                           "NOT FOOD", "tell: B-07 all well", "its page"}) {
    CAPTURE(part);
    CHECK(svg.find(part) != std::string::npos);
  }
  CHECK(svg.find("width=\"210mm\"") != std::string::npos);
}

TEST_CASE("what was not told is left to be written in") {
  const Label labels[] = {{"B-07", "", at("2026-03-01T23:00:00Z"), {}, {}}};
  const std::string svg = labels_svg(labels, "", label_zone());
  CHECK(svg.find("empty ........ g") != std::string::npos);
  CHECK(svg.find("cover not told") != std::string::npos);
  CHECK(svg.find("ask B-07") != std::string::npos);
}

TEST_CASE("a label's weight is in the units its keeper reads") {
  const PersonUnits kitchen({true, true});
  const Label told[] = {sample_label()};
  CHECK(labels_svg(told, "", label_zone(), kitchen).find("empty 51.1 oz") != std::string::npos);
  const Label blank[] = {{"B-07", "", at("2026-03-01T23:00:00Z"), {}, {}}};
  CHECK(labels_svg(blank, "", label_zone(), kitchen).find("empty ........ oz") !=
        std::string::npos);
}

TEST_CASE("the code holds the jar's page, or the sentence that asks for it") {
  CHECK(code_text(sample_label(), "http://cellar.lan:8457") == "http://cellar.lan:8457/jar/B-07");
  CHECK(code_text(sample_label(), "http://cellar.lan:8457//") == "http://cellar.lan:8457/jar/B-07");
  CHECK(code_text(sample_label(), "") == "ask B-07");
}

TEST_CASE("a phone that reads a sheet of labels finds each jar's page") {
  std::vector<Label> labels;
  for (int i = 1; i <= 10; ++i) labels.push_back(sample_label("B-" + std::to_string(i)));
  labels.back() = sample_label("a-long-jar-id-of-32-characters-x");
  const auto read = read_codes(labels_svg(labels, "http://cellar.lan:8457", label_zone()));
  if (!read) {
    MESSAGE(
        "skipped: rsvg-convert and zbarimg (Debian librsvg2-bin, zbar-tools) are not installed");
    return;
  }
  CHECK(occurrences(*read, "\n") == labels.size());
  for (const Label& label : labels) {
    CHECK(read->find("http://cellar.lan:8457/jar/" + label.jar + "\n") != std::string::npos);
  }
}

TEST_CASE("a code is square, framed by its three corners, and bounded") {
  const auto code = qr_code("http://cellar.lan:8457/jar/B-07");
  REQUIRE(code);
  CHECK(code->dark.size() == code->side * code->side);
  // ISO/IEC 18004: a finder pattern's outer ring is dark, 7 modules wide, and light around it.
  for (std::size_t i = 0; i < 7; ++i) {
    CHECK(code->at(i, 0));
    CHECK(code->at(0, i));
    CHECK(code->at(code->side - 1, i));
    CHECK(code->at(i, code->side - 1));
  }
  CHECK_FALSE(code->at(7, 0));
  CHECK_FALSE(qr_code(""));
  CHECK(qr_code(std::string(kLongestQrText, 'x')));
  CHECK_FALSE(qr_code(std::string(kLongestQrText + 1, 'x')));
}

TEST_CASE("markup and control characters in a stage are drawn as text") {
  Label odd = sample_label();
  odd.stage = "<script>x</script>\x1B[31m\"&";
  const Label labels[] = {odd};
  const std::string svg = labels_svg(labels, "http://a.lan/\"><script>", label_zone());
  CHECK(svg.find("<script") == std::string::npos);
  CHECK(svg.find('\x1B') == std::string::npos);
  CHECK(svg.find("&lt;script") != std::string::npos);
}

TEST_CASE("an address that only this computer reaches is warned of") {
  const std::pair<const char*, bool> rows[] = {
      {"http://cellar.lan:8457", false},    {"https://192.0.2.7/torpor", false},
      {"http://[2001:db8::7]:8457", false}, {"http://127.0.0.1:8457", true},
      {"http://localhost:8457", true},      {"http://[::1]:8457/", true},
      {"http://0.0.0.0:8457", true},        {"", true},
  };
  for (const auto& [address, warned] : rows) {
    CAPTURE(address);
    CHECK(unreachable_address(address).has_value() == warned);
  }
}

}  // namespace torpor::daemon

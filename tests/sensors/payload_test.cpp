#include "sensors/payload.h"

#include <doctest/doctest.h>

#include <set>

#include "tests/sensors/decoded.h"

namespace torpor::test {
namespace {

using std::chrono::milliseconds;

PayloadFormat format_of(PayloadForm form) {
  PayloadFormat format;
  format.form = form;
  Measure measure;
  measure.pointer = "";
  if (form != PayloadForm::senml) format.measures = {measure};
  return format;
}

constexpr PayloadForm kForms[] = {PayloadForm::number, PayloadForm::json, PayloadForm::senml};

TEST_CASE("every refusal has its own name, a JSON key") {
  std::set<std::string_view> names;
  for (int i = 0; i < kRefusalCount; ++i) {
    const std::string_view name = refusal_name(static_cast<Refusal>(i));
    CHECK(name.find_first_not_of("abcdefghijklmnopqrstuvwxyz_0123456789") == name.npos);
    CHECK(names.insert(name).second);
  }
  CHECK(refusal_name(Refusal::empty) == "empty");
  CHECK(refusal_name(Refusal::not_finite) == "not_finite");
  CHECK(refusal_name(Refusal::unknown_sensor) == "unknown_sensor");
}

TEST_CASE("an empty message is refused in every form") {
  for (const PayloadForm form : kForms) {
    for (const char* payload : {"", " ", "\r\n", " \t "}) {
      CHECK(decoded(format_of(form), payload) == "empty: the message is empty: expected a reading");
    }
  }
}

TEST_CASE("a message above the limit is refused before it is read") {
  for (const PayloadForm form : kForms) {
    // Not UTF-8 and not of the form: only the size is looked at.
    const std::string payload(kLargestPayload + 1, '\xFF');
    CHECK(decoded(format_of(form), payload) ==
          "too_large: the message has 262145 bytes, more than 262144: send smaller packs, or check "
          "that this topic carries readings");
    CHECK(decoded(format_of(form), std::string(kLargestPayload + 1, ' ')).starts_with("too_large"));
  }
  CHECK(
      decoded(format_of(PayloadForm::number), std::string(1 << 20, '1')).starts_with("too_large"));
}

TEST_CASE("a message of just the largest size is read") {
  std::string payload = "21.5";
  payload.resize(kLargestPayload, ' ');
  CHECK(decoded(format_of(PayloadForm::number), payload) ==
        "temperature 21.5 °C 2026-03-02T18:30:00Z arrival");
}

TEST_CASE("a message that is not UTF-8 names the byte") {
  for (const PayloadForm form : kForms) {
    CHECK(decoded(format_of(form), "21.5\xFF") ==
          "not_utf8: byte 5 of 5 (\\xff) is not UTF-8 text: the sensor sends a binary form that is "
          "not read here");
  }
}

TEST_CASE("a value no air can have is kept and marked") {
  PayloadFormat format = format_of(PayloadForm::number);
  CHECK(decoded(format, "100") == "temperature 100 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(format, "100.1") == "temperature 100.1 °C 2026-03-02T18:30:00Z arrival impossible");
  CHECK(decoded(format, "-127") == "temperature -127 °C 2026-03-02T18:30:00Z arrival impossible");
  format.measures[0].unit = Unit::kelvin;
  CHECK(decoded(format, "0") == "temperature 0 K 2026-03-02T18:30:00Z arrival impossible");
  CHECK(decoded(format, "293.15") == "temperature 293.15 K 2026-03-02T18:30:00Z arrival");
}

TEST_CASE("a reading stamped by a clock that was never set is refused") {
  const Instant start_of_2000 = instant_of(946684800000);
  const PayloadFormat format = format_of(PayloadForm::number);
  CHECK(decoded(format, "1", start_of_2000) == "temperature 1 °C 2000-01-01T00:00:00Z arrival");
  CHECK(decoded(format, "1", start_of_2000 - milliseconds(1)) ==
        "before_2000: the reading has no time of its own, and this computer's clock says "
        "1999-12-31T23:59:59.999Z: set the clock");
}

TEST_CASE("an excerpt shows text as it is and everything else escaped") {
  CHECK(excerpt("") == "");
  CHECK(excerpt("21.5 °C") == "21.5 °C");
  CHECK(excerpt("a\nb\tc\x7F") == "a\\x0ab\\x09c\\x7f");
  CHECK(excerpt("\xFFz") == "\\xffz");
  CHECK(excerpt("\xC2\x85") == "\\xc2\\x85");           // C1 control: next line
  CHECK(excerpt("\xE2\x80\xA8") == "\\xe2\\x80\\xa8");  // line separator
  CHECK(excerpt("\xE2\x80\xAE") == "\\xe2\\x80\\xae");  // right-to-left override
  CHECK(excerpt("\xE2\x82\xAC") == "\xE2\x82\xAC");     // the euro sign is text
}

TEST_CASE("an excerpt is at most 60 characters, dots included") {
  const std::string sixty(60, 'x');
  CHECK(excerpt(sixty) == sixty);
  CHECK(excerpt(sixty + "x") == std::string(57, 'x') + "...");
  std::string wide;
  for (int i = 0; i < 60; ++i) wide += "°";
  CHECK(excerpt(wide) == wide);
  CHECK(excerpt(wide + "°") == wide.substr(0, 57 * 2) + "...");
  // An escape is never cut in the middle: 56 letters leave one place, \x00 needs four.
  CHECK(excerpt(std::string(56, 'x') + std::string(9, '\0')) == std::string(56, 'x') + "...");
}

}  // namespace
}  // namespace torpor::test

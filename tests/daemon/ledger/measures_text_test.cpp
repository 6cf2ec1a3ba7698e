// Factors: international pound and inch (1959), US gallon of 231 cubic inches; exact by definition,
// written here from memory.
#include "daemon/ledger/measures_text.h"

#include <doctest/doctest.h>

#include <vector>

namespace torpor::daemon {

namespace {

std::vector<std::string_view> words_of(std::string_view text) {
  std::vector<std::string_view> words;
  while (!text.empty()) {
    const std::size_t blank = std::min(text.find(' '), text.size());
    if (blank > 0) words.push_back(text.substr(0, blank));
    text.remove_prefix(std::min(blank + 1, text.size()));
  }
  return words;
}

}  // namespace

TEST_CASE("amounts are read in their units") {
  struct Row {
    const char* text;
    Dimension dimension;
    double value;
    std::size_t words;
  };
  const Row rows[] = {
      {"1200 g", Dimension::mass, 1200, 2},
      {"1200g", Dimension::mass, 1200, 1},
      {"1200g raw", Dimension::mass, 1200, 1},
      {"1.2 kg", Dimension::mass, 1200, 2},
      {"1,25 KG", Dimension::mass, 1250, 2},
      {"0,250 kg", Dimension::mass, 250, 2},
      {"1.250 kg", Dimension::mass, 1250, 2},
      {"1250,5 g", Dimension::mass, 1250.5, 2},
      {".5 kg", Dimension::mass, 500, 2},
      {"0 g", Dimension::mass, 0, 2},
      {"1 oz", Dimension::mass, 28.349523125, 2},
      {"1 lb", Dimension::mass, 453.59237, 2},
      {"2 lb 10 oz", Dimension::mass, 2 * 453.59237 + 10 * 28.349523125, 4},
      {"2lb 10oz", Dimension::mass, 2 * 453.59237 + 10 * 28.349523125, 2},
      {"2lb10oz raw", Dimension::mass, 2 * 453.59237 + 10 * 28.349523125, 1},
      {"2 pounds 15,5 ounces", Dimension::mass, 2 * 453.59237 + 15.5 * 28.349523125, 4},
      {"2 lb 560 g", Dimension::mass, 2 * 453.59237, 2},
      {"2 lb raw 560 g", Dimension::mass, 2 * 453.59237, 2},
      {"3 kilos 10 oz", Dimension::mass, 3000, 2},
      {"3.8 l", Dimension::volume, 3800, 2},
      {"3,8L", Dimension::volume, 3800, 1},
      {"750 ml", Dimension::volume, 750, 2},
      {"1 gal", Dimension::volume, 3785.411784, 2},
      {"2 qt", Dimension::volume, 2 * 946.352946, 2},
      {"11 cm", Dimension::length, 110, 2},
      {"110 mm", Dimension::length, 110, 2},
      {"4 in", Dimension::length, 101.6, 2},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    const auto measured = read_measure(words_of(row.text), row.dimension);
    REQUIRE_MESSAGE(measured, (measured ? std::string() : measured.error()));
    CHECK(measured->value == doctest::Approx(row.value).epsilon(1e-12));
    CHECK(measured->words == row.words);
  }
}

TEST_CASE("an amount that cannot be read says why") {
  struct Row {
    const char* text;
    Dimension dimension;
    const char* error;
  };
  const Row rows[] = {
      {"", Dimension::mass, "a weight is missing"},
      {"much", Dimension::mass, "\"much\" is not a weight"},
      {"1200", Dimension::mass, "\"1200\" has no unit of weight (one of g, kg, oz, lb)"},
      {"1200 raw", Dimension::mass, "\"1200\" has no unit of weight (one of g, kg, oz, lb)"},
      {"3 l", Dimension::mass, "\"3 l\" is a volume, and a weight is wanted (g, kg, oz, lb)"},
      {"3 kg", Dimension::volume, "\"3 kg\" is a weight, and a volume is wanted (ml, l, gal, qt)"},
      {"3 l", Dimension::length, "\"3 l\" is a volume, and a length is wanted (mm, cm, in)"},
      {"-5 g", Dimension::mass, "\"-5\" is negative"},
      {"1,250 g", Dimension::mass, "\"1,250\" may be 1250 or 1.250; write it without the comma"},
      {"12,500 g", Dimension::mass,
       "\"12,500\" may be 12500 or 12.500; write it without the comma"},
      {"1.250,5 g", Dimension::mass,
       "\"1.250,5\" is not a plain number; write one like 1250 or 1.25"},
      {"1. kg", Dimension::mass, "\"1.\" is not a plain number; write one like 1250 or 1.25"},
      {". kg", Dimension::mass, "\".\" is not a plain number; write one like 1250 or 1.25"},
      {"1-2 kg", Dimension::mass, "\"1-2\" is not a plain number; write one like 1250 or 1.25"},
      {"99999999999999999 g", Dimension::mass,
       "\"99999999999999999\" is not a plain number; write one like 1250 or 1.25"},
      {"1000000000 g", Dimension::mass,
       "\"1000000000\" is not a plain number; write one like 1250 or 1.25"},
      {"1e3 g", Dimension::mass, "\"1\" has no unit of weight (one of g, kg, oz, lb)"},
      {"2 lb 16 oz", Dimension::mass,
       "16 ounces beside pounds are a pound or more; write less than 16"},
      {"2lb3 g", Dimension::mass, "\"2lb3\" is not a weight"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    const auto measured = read_measure(words_of(row.text), row.dimension);
    REQUIRE_FALSE(measured);
    CHECK(measured.error() == row.error);
  }
}

TEST_CASE("a comma is a decimal mark unless it may part thousands") {
  CHECK(read_number("12,5").value() == 12.5);
  CHECK(read_number("1,25").value() == 1.25);
  CHECK(read_number("0,125").value() == 0.125);
  CHECK(read_number("1,2500").value() == 1.25);
  CHECK(read_number("1234,500").value() == 1234.5);  // thousands would be parted before 234
  CHECK_FALSE(read_number("1,250"));
  CHECK_FALSE(read_number("123,456"));
  CHECK(read_number("999999999").value() == 999999999);
}

}  // namespace torpor::daemon

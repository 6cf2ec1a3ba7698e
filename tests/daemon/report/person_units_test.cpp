#include "daemon/report/person_units.h"

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

const PersonUnits kKitchen({true, true});

}  // namespace

TEST_CASE("sentences pass unchanged where nobody asked for other units") {
  CHECK(PersonUnits().in("Stir about 260 g into it at 21.5 °C.") ==
        "Stir about 260 g into it at 21.5 °C.");
  CHECK(PersonUnits().temperature_symbol() == "°C");
  CHECK(PersonUnits().temperature(Celsius(20.0)) == 20.0);
  CHECK(kKitchen.temperature(Celsius(20.0)) == 68.0);
  CHECK(kKitchen.temperature_symbol() == "°F");
  CHECK(kKitchen.temperature(std::optional<Celsius>()) == std::nullopt);
}

// NIST Handbook 44 (2023), appendix C: 1 oz = 28.349523125 g; t/°F = 1.8 t/°C + 32.
TEST_CASE("amounts in sentences are written in the person's units") {
  struct Row {
    const char* ours;
    const char* theirs;
  };
  for (const Row& row : {
           Row{"temperature 35.8 °C, between 30 °C and 40 °C for over 4 h.",
               "temperature 96.4 °F, between 86 °F and 104 °F for over 4 h."},
           Row{"-10 °C", "14 °F"},
           Row{"It stood above 45 °C for 3 h", "It stood above 113 °F for 3 h"},
           Row{"15 to 20 °C", "59 to 68 °F"},
           Row{"within 0.7 K of the truth", "within 1.3 °F of the truth"},
           Row{"Stir about 260 g of sugar (1 1/4 cups) into F-08.",
               "Stir about 9.2 oz of sugar (1 1/4 cups) into F-08."},
           Row{"13 g (0 to 17)", "0.5 oz (0.0 to 0.6)"},
           Row{"-2.0 g (-3.6 to 1.1)", "-0.07 oz (-0.13 to 0.04)"},
           Row{"less than 1 g", "less than 0.04 oz"},
           Row{"about 1.3 kg, then 28 g a day", "about 2.9 lb, then 1.0 oz a day"},
           Row{"rice 1000 g, raw 545 g", "rice 35.3 oz, raw 19.2 oz"},
       }) {
    CHECK(kKitchen.in(row.ours) == row.theirs);
  }
}

TEST_CASE("what only looks like an amount stays") {
  for (const char* sentence :
       {"9.6 g/m³", "jar F-08 grew", "on 2026-03-02 18:30", "12 gates", "0.84 (0.83 to 0.86)",
        "for \"heap 4, 12 °C and 100 g\"", "5 Kelvins", "B-7 g", "v1.2.3 g", "entry 12", "85 %",
        "1e+308 °C", "in about 5 weeks (range 3 weeks to 9 weeks)", ""}) {
    CHECK(kKitchen.in(sentence) == sentence);
  }
}

TEST_CASE("one kind of unit can be chosen alone") {
  CHECK(PersonUnits({true, false}).in("20 g at 20 °C") == "20 g at 68 °F");
  CHECK(PersonUnits({false, true}).in("20 g at 20 °C") == "0.7 oz at 20 °C");
}

TEST_CASE("an amount behind quoted words is changed again") {
  CHECK(kKitchen.in("taken for \"20 g\": 20 g") == "taken for \"20 g\": 0.7 oz");
}

}  // namespace torpor::daemon

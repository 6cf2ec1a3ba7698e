#include "daemon/ledger/registration.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

namespace {

NewJar jar_of(const std::string& fields) {
  static const LocalTime zone = test::zone_of("UTC");
  return std::get<NewJar>(test::parsed("new jar B-07 in cellar " + fields, zone).act);
}

std::string doubt(const std::string& fields) {
  return doubt_about(jar_of(fields)).value_or("none");
}

}  // namespace

TEST_CASE("figures that fit together raise no doubt") {
  for (const char* fields :
       {"",
        "rice 1200 g raw 560 g sugar 1250 g topping 60 g vessel glass 3.8 l empty 1450 g mouth 11 "
        "cm",
        "sugar 0 g", "topping 0 g", "topping 5 g", "rice 10 g", "rice 50 kg",
        "rice 1000 g sugar 50 g", "rice 1000 g sugar 20 kg", "rice 561 g raw 560 g",
        "raw 560 g cooked 561 g", "rice 800 g sugar 800 g vessel 1 l", "mouth 5 mm",
        "mouth 1000 mm", "vessel 20 ml", "vessel 200 l"}) {
    CAPTURE(fields);
    CHECK(doubt(fields) == "none");
  }
}

TEST_CASE("figures that contradict are asked about") {
  const char* rows[][2] = {
      {"rice 0 g", "`rice` is 0 g; leave it out if it is not known"},
      {"empty 0 g", "`empty` is 0 g; leave it out if it is not known"},
      {"sugar 1250 kg", "`sugar` is 1250000 g, more than one jar holds; is it 1250 g?"},
      {"rice 50.1 kg", "`rice` is 50100 g, more than one jar holds; is it 50.1 g?"},
      {"rice 1.2 g", "`rice` is only 1.2 g; is it 1200 g?"},
      {"rice 9.9 g", "`rice` is only 9.9 g; is it 9900 g?"},
      {"rice 1000 g sugar 49 g",
       "sugar 49 g to rice 1000 g is far from equal weights; is one of the units wrong?"},
      {"rice 1000 g sugar 20.1 kg",
       "sugar 20100 g to rice 1000 g is far from equal weights; is one of the units wrong?"},
      {"rice 560 g raw 560 g",
       "raw 560 g is not less than rice 560 g: `rice` is the colonised rice as mixed, `raw` the "
       "dry "
       "rice before cooking; are they swapped?"},
      {"raw 560 g cooked 560 g",
       "raw 560 g is not less than cooked 560 g, but rice takes up water; which is it?"},
      {"rice 800 g sugar 801 g vessel 1 l",
       "1601 g of rice and sugar do not go into 1 l; which of them is wrong?"},
      {"vessel 19 ml", "a vessel of 19 ml is no jar; which volume is it?"},
      {"vessel 201 l", "a vessel of 201 l is no jar; which volume is it?"},
      {"mouth 4 mm", "a mouth of 4 mm fits no jar; which width is it?"},
      {"mouth 101 cm", "a mouth of 101 cm fits no jar; which width is it?"},
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    CHECK(doubt(row[0]) == row[1]);
  }
}

TEST_CASE("contents are repeated in grams and words") {
  const char* rows[][2] = {
      {"", ""},
      {"stage IMO-2 rice 1200 g raw 560 g sugar 1250 g topping 60 g vessel glass 3.8 l empty 1450 "
       "g "
       "mouth 11 cm cover paper origin \"beech <b>\"",
       "IMO-2; rice 1200 g from 560 g raw; sugar 1250 g, 1.04 times the rice; topping 60 g; glass "
       "of "
       "3.8 l, empty 1450 g, mouth 11 cm; cover paper; origin \"beech \xE2\x80\xB9"
       "b\xE2\x80\xBA\""},
      {"rice 2 lb 10 oz cooked firm", "rice 1191 g, cooked firm"},
      {"cooked firm", "rice cooked firm"},
      {"raw 560 g cooked 1100 g", "rice from 560 g raw, cooked to 1100 g"},
      {"sugar-kind raw", "raw sugar"},
      {"sugar 500 g sugar-kind brown", "brown sugar 500 g"},
      {"vessel clay", "clay"},
      {"vessel 2 l", "vessel of 2 l"},
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    CHECK(contents_text(jar_of(row[0])) == row[1]);
  }
}

TEST_CASE("figures that cannot be known are named with the words that are missing") {
  CHECK(missing_text(
            jar_of("rice 1200 g raw 560 g sugar 1250 g cover paper mouth 11 cm empty 1 kg")) == "");
  CHECK(missing_text(jar_of("rice 1200 g cooked firm sugar 1250 g cover paper mouth 11 cm empty 1 "
                            "kg")) == "");
  CHECK(
      missing_text(jar_of("")) ==
      "without rice, raw (or cooked) and sugar its water activity and time to wake cannot be "
      "known; "
      "without cover and mouth the water it takes from the air cannot be known; without empty its "
      "contents from a weight with the vessel cannot be known");
  CHECK(missing_text(jar_of("rice 1200 g raw 560 g cover paper mouth 11 cm empty 1 kg")) ==
        "without sugar its water activity and time to wake cannot be known");
  CHECK(missing_text(jar_of("rice 1200 g raw 560 g sugar 1 kg cover paper empty 1 kg")) ==
        "without mouth the water it takes from the air cannot be known");
}

TEST_CASE("a risky vessel and a jar without sugar come with their caution") {
  CHECK(caution_text(jar_of("vessel glass cover paper sugar 1 kg")) == "");
  CHECK(test::contains(caution_text(jar_of("vessel plastic")),
                       "for long storage common practice wants glass or glazed ceramic"));
  CHECK(
      test::contains(caution_text(jar_of("sugar 0 g")), "Without sugar nothing keeps it asleep."));
  // With its rice the answer says how much (mixing_answers_test.cpp).
  CHECK(caution_text(jar_of("rice 1 kg sugar 0 g")) == "");
}

}  // namespace torpor::daemon

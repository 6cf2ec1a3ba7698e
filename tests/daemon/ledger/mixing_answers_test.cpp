// Sentences at mixing and their answers, as a keeper would type them. What is said of lids, film
// and how full a vessel is: common practice, no source. What is said of sugar is tested against
// outside values in tests/rules/culture/mixing_test.cpp.
#include "daemon/ledger/mixing_answers.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::Cellar;
using test::contains;

namespace {

constexpr std::string_view kShort =
    "Stir about 700 g more sugar (3 1/2 cups) into K1, then tell `add sugar 700 g to K1 stirred`. ";
constexpr std::string_view kFreshLid =
    "Ease the tight lid off slowly, a cloth over it, face and eyes away, and tie on paper or "
    "cloth: "
    "a fresh mix makes gas while it settles, and a tight lid can burst. ";

std::string told_back(Cellar& cellar, const std::string& text) {
  std::string answer = cellar.tell(text).answer;
  CAPTURE(answer);
  return answer;
}

Cellar with_k1(const std::string& fields) {
  Cellar cellar;
  (void)cellar.tell("new jar K1 in cellar " + fields);
  return cellar;
}

}  // namespace

TEST_CASE("a kilogram of rice with 300 g of sugar: the deed first, then what was understood") {
  Cellar cellar;
  const Told told = cellar.tell("new jar K1 in cellar rice 1000 g raw 540 g sugar 300 g");
  CHECK(told.answer.starts_with(
      std::string(kShort) +
      "With 300 g it will not sleep long. Rice as wet as this (55 % water by its weights) takes "
      "about 1000 g: equal weight, as is common practice. K1 is registered in cellar from "));
  CHECK(told.brief == "700 g too little sugar");
  // The sentence to tell afterwards is one, and what it leads to is enough.
  const std::string after = cellar.tell("add sugar 700 g to K1 stirred").answer;
  CHECK(
      after.starts_with("K1: 700 g sugar stirred in, Tue 10 Mar 13:00 (entry 2). That is sugar "
                        "enough: equal weight, as is common practice, holds for"));
}

TEST_CASE("three kilograms of sugar are said to be waste, first") {
  Cellar cellar;
  const std::string answer =
      told_back(cellar, "new jar K1 in cellar rice 1000 g raw 540 g sugar 3000 g");
  CHECK(
      answer.starts_with("Leave it so: 3000 g is far more sugar than rice as wet as this (55 % "
                         "water by its weights) can dissolve. About 1000 g is enough; the rest "
                         "does no harm and is only wasted. K1 is registered"));
}

TEST_CASE("equal weights of firm-cooked rice: common practice and the reckoning, both said, once") {
  Cellar cellar;
  const std::string answer =
      told_back(cellar, "new jar K1 in cellar rice 1000 g cooked firm sugar 1000 g");
  CHECK(answer.starts_with("K1 is registered in cellar"));
  const std::string_view said =
      "Equal weight is common practice and mostly does. Rice as wet as this (about 60 % water, by "
      "the word `firm`) takes about 130 g more (3/4 cup), up to 260 g if it is wetter still: stir "
      "that in to be safe, then tell `add sugar 130 g to K1 stirred`. It settles until";
  CHECK(contains(answer, said));
  CHECK(answer.find("common practice") == answer.rfind("common practice"));
}

TEST_CASE("a jar without the weight of its rice or sugar hears nothing of either") {
  for (const char* fields : {"", "rice 1000 g", "sugar 300 g", "rice 1000 g raw 540 g"}) {
    CAPTURE(fields);
    Cellar cellar;
    const Told told = cellar.tell(std::string("new jar K1 in cellar ") + fields);
    CHECK(told.answer.starts_with("K1 is registered"));
    CHECK_FALSE(contains(told.answer, "Stir"));
    CHECK(told.brief == "");
  }
}

TEST_CASE("the figures of a stage's own culture count") {
  Cellar cellar;
  rules::culture::Profile wet;
  REQUIRE(wet.set("rice_dry_share", 0.70, 0.70, 0.70));
  cellar.world.cultures.set("IMO-2", wet);
  CHECK(contains(
      cellar.tell("new jar K1 in cellar stage IMO-2 rice 1000 g raw 540 g sugar 1 kg").answer,
      "(62 % water by its weights)"));
  CHECK(contains(cellar.tell("new jar K2 in cellar rice 1000 g raw 540 g sugar 1 kg").answer,
                 "(55 % water by its weights)"));
}

TEST_CASE("what was mixed long ago is not stirred into unseen") {
  const std::string fields = "rice 1000 g raw 540 g sugar 300 g cover tight lid closed ";
  Cellar fresh, old;  // now is 2026-03-10T13:00 in Vienna
  CHECK(contains(fresh.tell("new jar K1 in cellar " + fields + "2026-02-24T13:00:01").answer,
                 "Stir about 700 g more sugar"));
  const std::string answer = old.tell("new jar K1 in cellar " + fields + "2026-02-24T13:00").answer;
  CAPTURE(answer);
  CHECK_FALSE(contains(answer, "Stir about"));
  CHECK(contains(answer, "By what was told K1 got 700 g too little sugar mixed in: "));
  CHECK(answer.starts_with("Caution: a culture that wakes makes gas and a tight lid can burst"));
}

TEST_CASE("a tight lid on a fresh mix goes before the sugar that is missing") {
  Cellar cellar;
  const Told told =
      cellar.tell("new jar K1 in cellar rice 1000 g raw 540 g sugar 300 g cover tight lid");
  CHECK(told.answer.starts_with(std::string(kFreshLid) + std::string(kShort)));
  CHECK(told.brief == "tight lid, 700 g too little sugar");
}

TEST_CASE("each cover's caution at mixing, and none where gas gets out") {
  const char* rows[][2] = {
      {"tight lid", "Ease the tight lid off slowly"},
      {"film", "Leave gas a way out under the film, or tie on paper or cloth: a fresh mix makes"},
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    Cellar cellar;
    CHECK(cellar.tell(std::string("new jar K1 in cellar cover ") + row[0])
              .answer.starts_with(row[1]));
  }
  Cellar cellar;
  CHECK(contains(cellar.tell("new jar K1 in cellar cover airlock").answer,
                 "Keep the airlock clear: a clogged one holds gas."));
  CHECK(contains(cellar.tell("new jar K2 in cellar cover waxed paper").answer,
                 "Tie the waxed paper loosely while it makes gas"));
  CHECK_FALSE(contains(
      cellar.tell("new jar K3 in cellar cover waxed paper closed 2026-01-02").answer, "loosely"));
  for (const char* cover :
       {"tissue", "cloth", "paper", "kraft", "double kraft", "lid turned back"}) {
    CAPTURE(cover);
    Cellar other;
    const std::string answer =
        other.tell(std::string("new jar K1 in cellar cover ") + cover).answer;
    CHECK(answer.starts_with("K1 is registered"));
    CHECK_FALSE(contains(answer, "gas"));
  }
}

TEST_CASE("a bare lid is asked about: tight, or turned back") {
  Cellar cellar = with_k1("");
  for (const char* text : {"cover K1 with lid", "cover K1 with the lid"}) {
    CAPTURE(text);
    const auto parsed = parse_sentence(text, cellar.zone);
    REQUIRE_FALSE(parsed);
    CHECK(parsed.error().text ==
          "which lid is it: a tight lid, or a lid turned back so that gas gets out? say: cover ID "
          "with lid turned back, or cover ID with tight lid; for example: cover B-07 with lid "
          "turned back");
  }
  for (const char* text : {"new jar K2 in cellar cover lid", "new jar K2 in cellar cover a lid"}) {
    CAPTURE(text);
    const auto parsed = parse_sentence(text, cellar.zone);
    REQUIRE_FALSE(parsed);
    CHECK(parsed.error().text.starts_with(
        "`cover`: which lid is it: a tight lid, or a lid turned back so that gas gets out? say: "));
  }
  CHECK(contains(cellar.tell("cover K1 with lid turned back").answer, "covered with lid turned"));
}

TEST_CASE("a cover told later is judged as one told at mixing") {
  Cellar cellar = with_k1("rice 1000 g raw 540 g sugar 1000 g closed 2026-03-09");
  CHECK(cellar.tell("cover K1 with tight lid").answer.starts_with(kFreshLid));
  CHECK(cellar.tell("cover K1 with paper").answer.starts_with("K1: covered with paper"));
  (void)cellar.tell("K1 bubbling");
  CHECK(cellar.tell("cover K1 with tight lid")
            .answer.starts_with("Ease the tight lid off slowly, a cloth over it, face and eyes "
                                "away, and tie on paper or cloth until it is quiet: it was seen "
                                "working within two weeks, and a tight lid can burst. K1: "));
  // Told late, of a cover that another has followed since.
  CHECK(cellar.tell("cover K1 with film at 2026-03-09T10:00").answer.starts_with("K1: covered"));
  // Of a spoiled jar its standing says the only thing to do.
  (void)cellar.tell("K1 green mould");
  CHECK(cellar.tell("cover K1 with tight lid").answer.starts_with("K1: covered with tight lid"));
  CHECK(cellar.tell("cover K1 with paper").answer.starts_with("K1: covered with paper"));
}

TEST_CASE("the lid of several jars is said once") {
  Cellar cellar = with_k1("");
  (void)cellar.tell("new jar K2 in cellar");
  const std::string answer = told_back(cellar, "cover K1 K2 with tight lid");
  CHECK(answer.starts_with(std::string(kFreshLid) + "K1 and K2: covered with tight lid"));
  CHECK(answer.find("can burst") == answer.rfind("can burst"));
}

TEST_CASE("sugar that is added is told what it leads to") {
  struct Row {
    const char* text;
    const char* begins;
  };
  const Row rows[] = {
      {"add sugar 400 g to K1 stirred",
       "Stir about 300 g more sugar (1 1/2 cups) into K1, then "
       "tell `add sugar 300 g to K1 stirred`. With 700 g it will "
       "not sleep long."},
      {"add sugar 700 g to K1", "Stir the sugar on top into K1, with another 20 g (2 tablespoons)"},
      {"add sugar 560 g to K1 stirred", "K1: 560 g sugar stirred in"},
      {"add sugar 700 g to K1 stirred", "K1: 700 g sugar stirred in"},
      {"add sugar 2 kg to K1 stirred", "Leave it so: 2300 g is far more sugar than"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    Cellar cellar = with_k1("rice 1000 g raw 540 g sugar 300 g cover paper");
    const std::string answer = told_back(cellar, row.text);
    CHECK(answer.starts_with(row.begins));
  }
  Cellar cellar = with_k1("rice 1000 g raw 540 g sugar 300 g cover paper");
  CHECK(
      contains(cellar.tell("add sugar 560 g to K1 stirred").answer,
               "(entry 2). 860 g of sugar may do. Rice as wet as this (55 % water by its weights) "
               "takes about 140 g more (3/4 cup)"));
  (void)cellar.tell("take 930 g from K1");
  // Half of it is left, and so is half of what is missing.
  CHECK(contains(cellar.tell("add sugar 1 g to K1 stirred").answer, "takes about 70 g more"));
}

TEST_CASE("sugar stirred in under a tight lid, or asked for: the lid first") {
  const std::string_view lid =
      "Ease the tight lid off slowly, a cloth over it, face and eyes away, and tie on paper or "
      "cloth: sugar stirred in makes it gas again, and a tight lid can burst. ";
  Cellar cellar = with_k1("rice 1000 g raw 540 g sugar 300 g cover tight lid closed 2026-01-02");
  CHECK(cellar.tell("add sugar 20 g to K1")
            .answer.starts_with(std::string(lid) + "Stir about 680 g more sugar"));
  CHECK(cellar.tell("add sugar 400 g to K1 stirred")
            .answer.starts_with(std::string(lid) + "Stir about 280 g more sugar"));
  CHECK(cellar.tell("add sugar 280 g to K1 stirred").answer.starts_with(std::string(lid) + "K1: "));
  // Spread on a jar that has enough it makes no gas.
  CHECK(cellar.tell("add sugar 20 g to K1").answer.starts_with("K1: 20 g"));
  (void)cellar.tell("cover K1 with paper");
  CHECK(cellar.tell("add sugar 10 g to K1 stirred").answer.starts_with("K1: 10 g"));
}

TEST_CASE("what works foams when sugar is stirred in: said before it") {
  Cellar cellar = with_k1("rice 1000 g raw 540 g sugar 300 g cover paper");
  (void)cellar.tell("K1 bubbling");
  const std::string_view foams =
      "Caution: it was seen working, and stirred sugar makes it foam: leave headspace and a cover "
      "that lets gas out. ";
  // Also before what is only asked for: 100 g on top leave the rest to be stirred in.
  CHECK(cellar.tell("add sugar 100 g to K1").answer.starts_with(std::string(foams) + "Stir about"));
  CHECK(cellar.tell("add sugar 600 g to K1 stirred")
            .answer.starts_with(std::string(foams) + "K1: 600 g"));
  CHECK(cellar.tell("add sugar 60 g to K1").answer.starts_with("K1: 60 g"));
}

TEST_CASE("with a model what is missing is the model's") {
  Cellar cellar =
      with_k1("rice 1000 g raw 540 g sugar 1000 g mouth 11 cm cover tissue closed 2025-11-01");
  test::model_jar(cellar, "K1", 25.0, 97.0);
  const std::string answer = told_back(cellar, "add sugar 20 g to K1 stirred in");
  // By its weights alone it would have enough: four damp months have wetted it.
  CHECK(contains(answer, "g more ("));
  CHECK(contains(answer, "K1: 20 g sugar stirred in"));
  Cellar dry = with_k1("rice 1000 g raw 540 g sugar 1000 g cover tissue closed 2026-01-02");
  test::model_jar(dry, "K1", 15.0, 60.0);
  CHECK(contains(dry.tell("add sugar 20 g to K1 stirred in").answer, "That is sugar enough"));
}

TEST_CASE("of several jars those that are amiss are named, in one sentence") {
  Cellar cellar = with_k1("rice 1000 g raw 540 g sugar 300 g");
  (void)cellar.tell("new jar K2 in cellar rice 1000 g raw 540 g sugar 900 g");
  const std::string answer = told_back(cellar, "add sugar 100 g to K1 K2 stirred");
  CHECK(answer.starts_with("Look at these first: K1 (600 g too little sugar). K1 and K2: 100 g"));
  CHECK_FALSE(contains(answer, "Stir"));
}

TEST_CASE("nobody is told to feed what is spoiled") {
  Cellar cellar = with_k1("rice 1000 g raw 540 g sugar 300 g cover paper");
  (void)cellar.tell("K1 green mould");
  const std::string answer = told_back(cellar, "add sugar 100 g to K1 stirred");
  CHECK_FALSE(contains(answer, "Stir"));
  CHECK_FALSE(contains(answer, "enough"));
}

TEST_CASE("a vessel filled further than about two thirds is too small; both sides") {
  // 2000 g at 1.15 g/ml are 1739 ml: 70 % of 2484 ml.
  const std::string mix = "rice 1000 g raw 540 g sugar 1000 g cover paper vessel glass ";
  Cellar roomy, tight;
  CHECK(roomy.tell("new jar K1 in cellar " + mix + "2490 ml").answer.starts_with("K1 is"));
  CHECK(tight.tell("new jar K1 in cellar " + mix + "2480 ml")
            .answer.starts_with("Take a vessel of about 2.7 l, or put a part into a second jar: "
                                "2000 g fill 2.48 l to about 70 %, and common practice leaves a "
                                "third free, for a fresh mix rises. K1 is"));
  Cellar bursting;
  CHECK(contains(bursting.tell("new jar K1 in cellar " + mix + "1.5 l").answer,
                 "2000 g are more than 1.5 l hold"));
  // What still has to be stirred in must go in, too.
  Cellar small;
  const Told told = small.tell(
      "new jar K1 in cellar rice 1000 g raw 540 g sugar 300 g cover paper vessel glass 2 l");
  CHECK(told.answer.starts_with(kShort));
  CHECK(contains(told.answer, "with that sugar 2000 g fill 2 l to about 87 %"));
  CHECK(told.brief == "700 g too little sugar, too full");
  // Once it has settled it has sunk.
  Cellar old;
  CHECK(old.tell("new jar K1 in cellar " + mix + "2 l closed 2026-01-02").answer.starts_with("K1"));
}

TEST_CASE("a part that is split off a fresh mix is judged by its own cover and vessel") {
  const std::string mix = "rice 1000 g raw 540 g sugar 1000 g cover paper closed ";
  Cellar fresh = with_k1(mix + "2026-03-09");
  CHECK(fresh.tell("split 600 g from K1 into K2 in cellar cover tight lid vessel glass 0.7 l")
            .answer.starts_with(std::string(kFreshLid) +
                                "Take a vessel of about 0.8 l, or put a part into a second jar: "
                                "600 g fill 700 ml to about 75 %"));
  // As old as what it was split off from, not as young as its vessel.
  CHECK(fresh.tell("split 100 g from K2 into K3 in cellar cover tight lid")
            .answer.starts_with(kFreshLid));
  Cellar old = with_k1(mix + "2026-01-02");
  const std::string answer =
      told_back(old, "split 600 g from K1 into K2 in cellar cover tight lid vessel glass 0.7 l");
  CHECK(answer.starts_with("Caution: a culture that wakes makes gas and a tight lid can burst"));
  CHECK_FALSE(contains(answer, "Take a vessel"));
  CHECK(old.tell("split 100 g from K2 into K3 in cellar cover paper").answer.starts_with("K3"));
}

}  // namespace torpor::daemon

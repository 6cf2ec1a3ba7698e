// Sentences -> acts, or the exact refusal. Acts are compared as the journal writes them.
#include "daemon/ledger/sentence.h"

#include <doctest/doctest.h>

#include <iterator>
#include <random>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::utc;
using test::zone_of;

namespace {

// The act's JSON, then at and by.
std::string read(std::string_view text) {
  static const LocalTime zone = zone_of("Europe/Vienna");
  const auto sentence = parse_sentence(text, zone);
  if (!sentence) return sentence.error().text;
  std::string line = act_to_json(sentence->act);
  for (const std::string& one : sentence->also) line += " also " + one;
  if (sentence->at) line += " at " + to_rfc3339(*sentence->at);
  if (!sentence->by.empty()) line += " by " + sentence->by;
  return line;
}

constexpr const char* kWhole =
    R"({"act":"new_jar","closed":"2026-03-01T23:00:00Z","cover":"paper","empty_g":1450.0,)"
    R"("jar":"B-07","mouth_mm":110.0,"origin":"beech hollow, north slope","place":"cellar/shelf-2",)"
    R"("raw_g":560.0,"rice_g":1200.0,"stage":"IMO-2","sugar_g":1250.0,"topping_g":60.0,)"
    R"("vessel":"glass","volume_ml":3800.0})";

}  // namespace

TEST_CASE("every sentence of this version is read") {
  const char* rows[][2] = {
      {"new jar B-07 in cellar/shelf-2 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g topping 60 g "
       "vessel glass 3.8 l empty 1450 g mouth 11 cm cover paper closed 2026-03-02 origin \"beech "
       "hollow, north slope\"",
       kWhole},
      // The same in another order, in capitals, glued, with commas, kilograms and a full stop.
      {"NEW JAR B-07 Origin \xE2\x80\x9C"
       "beech hollow, north slope\xE2\x80\x9D, Closed 2026-03-02, "
       "COVER Paper, mouth 110mm, vessel GLASS 3,8 l, topping 60g, sugar 1,25 kg, empty 1.45 kg, "
       "raw 560g, rice 1200g, stage IMO-2 in cellar/shelf-2.",
       kWhole},
      {"new jar b7 in cellar", R"({"act":"new_jar","jar":"b7","place":"cellar"})"},
      {"new jar B\xE2\x80\x93"
       "07 in cellar",
       R"({"act":"new_jar","jar":"B-07","place":"cellar"})"},
      {"new jar 12 in \"North Loft\" cooked firm sugar-kind raw raw 1 lb",
       R"({"act":"new_jar","cooked":"firm","jar":"12","place":"North Loft","raw_g":453.59237,)"
       R"("sugar_kind":"raw"})"},
      {"new jar a in cellar cooked 1100 g sugar kind brown sugar 0 g",
       R"({"act":"new_jar","cooked_g":1100.0,"jar":"a","place":"cellar","sugar_g":0.0,)"
       R"("sugar_kind":"brown"})"},
      {"calibrate s1 in table salt", R"({"act":"begin_check","in":"table salt","sensor":"s1"})"},
      {"Calibrate s1 in nacl by Mara",
       R"({"act":"begin_check","in":"table salt","sensor":"s1"} by Mara)"},
      {"check s1 against 21.4 degC",
       R"({"act":"begin_check","against_degC":21.4,"against_uncertainty_K":0.25,"sensor":"s1"})"},
      {"check s1 against -3,5 °C within 0.2 K by Mara",
       R"({"act":"begin_check","against_degC":-3.5,"against_uncertainty_K":0.1,"sensor":"s1"})"
       R"( by Mara)"},
      {"Check s1 against 50F within 1.8 F",
       R"({"act":"begin_check","against_degC":10.0,"against_uncertainty_K":0.5,"sensor":"s1"})"},
      {"calibrate s1 against 55% within 3 %",
       R"({"act":"begin_check","against_percent":55.0,"against_uncertainty_percent":1.5,)"
       R"("sensor":"s1"})"},
      {"check s1 in ice", R"({"act":"begin_check","in":"ice","sensor":"s1"})"},
      {"check p-7 in melting ice", R"({"act":"begin_check","in":"ice","sensor":"p-7"})"},
      {"new jar a in cellar cover double kraft vessel clay",
       R"({"act":"new_jar","cover":"double kraft","jar":"a","place":"cellar","vessel":"clay"})"},
      {"new jar a in cellar cover lid turned back vessel 2 qt",
       R"({"act":"new_jar","cover":"lid turned back","jar":"a","place":"cellar",)"
       R"("volume_ml":1892.705892})"},
      {"new jar a in cellar mouth 4 in cover tight lid",
       R"({"act":"new_jar","cover":"tight lid","jar":"a","mouth_mm":101.6,"place":"cellar"})"},
      {"new jar a mouth 4 in in cellar",
       R"({"act":"new_jar","jar":"a","mouth_mm":101.6,"place":"cellar"})"},
      {"new jar a at 2026-03-02T18:30 by \"Mara\" in cellar",
       R"({"act":"new_jar","jar":"a","place":"cellar"} at 2026-03-02T17:30:00Z by Mara)"},
      {"move B-07 to cellar/shelf-1", R"({"act":"move","jar":"B-07","place":"cellar/shelf-1"})"},
      {"Move b7 to \"North Loft\" at 2026-03-02 18:30 by \"Mara Huber\"",
       R"({"act":"move","jar":"b7","place":"North Loft"} at 2026-03-02T17:30:00Z by Mara Huber)"},
      {"move B-07 to cellar by Mara at 2026-07-02T18:30+05:30",
       R"({"act":"move","jar":"B-07","place":"cellar"} at 2026-07-02T13:00:00Z by Mara)"},
      {"move B-07 to cellar at 2026-07-02", R"({"act":"move","jar":"B-07","place":"cellar"} )"
                                            R"(at 2026-07-01T22:00:00Z)"},
      {"seen", R"({"act":"seen"})"},
      {"Seen by \"Mara\"", R"({"act":"seen"} by Mara)"},
      {"seen alert 12", R"({"act":"seen","alert":12})"},
      {"seen alert #12", R"({"act":"seen","alert":12})"},
      {"seen 12 at 2026-03-02T18:30", R"({"act":"seen","alert":12} at 2026-03-02T17:30:00Z)"},
      {"seen alert 18446744073709551615", R"({"act":"seen","alert":18446744073709551615})"},
      {"ask B-07", R"({"about":"B-07","act":"ask"})"},
      {"ask cellar/shelf-2", R"({"about":"cellar/shelf-2","act":"ask"})"},
      {"ask \"North Loft\"", R"({"about":"North Loft","act":"ask"})"},
      {"ask Alerts", R"({"about":"alerts","act":"ask"})"},
      {"ASK JARS by \"Mara\"", R"({"about":"jars","act":"ask"} by Mara)"},
      {"ask places\n", R"({"about":"places","act":"ask"})"},
      {", ask jars", R"({"about":"jars","act":"ask"})"},
      {"move B-01, B-02 and cellar/shelf-2 to outside",
       R"({"act":"move","jar":"B-01","place":"outside"} also B-02 also cellar/shelf-2)"},
      {"seen alert twelve", R"({"act":"seen","alert":12})"},
      {"new collection C-01 where \"beech hollow\" trees \"beech, fern below\" weather \"two dry "
       "days, 12 °C\" lay 5 d rice 1.2 kg looked \"white fluff\" gathered 2026-02-20",
       R"({"act":"new_collection","collection":"C-01","gathered":"2026-02-19T23:00:00Z",)"
       R"("lay_s":432000.0,"looked":"white fluff","rice_g":1200.0,"trees":"beech, fern below",)"
       R"("weather":"two dry days, 12 °C","where":"beech hollow"})"},
      {"New Collection c1, where meadow by Mara",
       R"({"act":"new_collection","collection":"c1","where":"meadow"} by Mara)"},
      {"new jar B-09 in cellar from C-01",
       R"({"act":"new_jar","from":["C-01"],"jar":"B-09","place":"cellar"})"},
      {"new jar B-09 from B-03 and B-05, C-01, cover paper in cellar",
       R"({"act":"new_jar","cover":"paper","from":["B-03","B-05","C-01"],"jar":"B-09",)"
       R"("place":"cellar"})"},
      {"split 600 g from B-07 into B-08 in cellar/shelf-1 vessel glass 2 l cover paper",
       R"({"act":"split","contents_g":600.0,"cover":"paper","from":"B-07","jar":"B-08",)"
       R"("place":"cellar/shelf-1","vessel":"glass","volume_ml":2000.0})"},
      {"ask collections", R"({"about":"collections","act":"ask"})"},
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    CHECK(read(row[0]) == row[1]);
  }
}

TEST_CASE("covers of several words are told apart by their longest name") {
  const LocalTime zone = zone_of("UTC");
  const std::pair<const char*, Cover> rows[] = {
      {"tissue", Cover::tissue},
      {"cloth", Cover::cloth},
      {"paper", Cover::paper},
      {"kraft", Cover::kraft},
      {"double kraft", Cover::double_kraft},
      {"waxed paper", Cover::waxed_paper},
      {"film", Cover::film},
      {"lid turned back", Cover::lid_turned_back},
      {"tight lid", Cover::tight_lid},
      {"airlock", Cover::airlock},
  };
  for (const auto& [name, cover] : rows) {
    const Sentence sentence =
        test::parsed(std::string("new jar a in cellar cover ") + name + " raw 560 g", zone);
    CHECK(std::get<NewJar>(sentence.act).cover == cover);
    CHECK(cover_name(cover) == name);
  }
}

TEST_CASE("a sentence that is not understood is refused with form and example") {
  constexpr const char* kTaken =
      "; say: new jar, new collection, split, move, add, take, open, cover, weigh, measure, "
      "observe, wake test, retire, "
      "withdraw, defer, seen, ask, calibrate or check; for example: ask B-07";
  constexpr const char* kMove = "; say: move ID to PLACE; for example: move B-07 to cellar/shelf-1";
  const std::string rice =
      "; say: rice WEIGHT, of the colonised rice as mixed; for example: new jar B-07 in "
      "cellar/shelf-2 rice 1200 g";
  const std::string new_jar =
      "; say: new jar ID in PLACE, then any of stage, rice, raw, cooked, sugar, sugar-kind, "
      "topping, "
      "vessel, empty, mouth, cover, closed, origin, from; for example: new jar B-07 in "
      "cellar/shelf-2 "
      "stage IMO-2 rice 1200 g raw 560 g sugar 1250 g cover paper closed 2026-03-02";
  const std::string seen =
      "; say: seen alert NUMBER, or seen for all of them; for example: seen alert 12";
  const std::string ask =
      "; say: ask ID, ask PLACE, ask SENSOR, ask alerts, ask jars, ask places or ask collections; "
      "for example: ask B-07";
  const std::pair<const char*, std::string> rows[] = {
      {"", std::string("the sentence is empty") + kTaken},
      {" \n", std::string("the sentence is empty") + kTaken},
      {",,", std::string("the sentence is empty") + kTaken},
      {"xyzzy", std::string("\"xyzzy\" does not begin a sentence") + kTaken},
      {"<b>hi</b>", std::string("\"\xE2\x80\xB9"
                                "b\xE2\x80\xBA"
                                "hi\xE2\x80\xB9/b\xE2\x80\xBA\" does "
                                "not begin a sentence") +
                        kTaken},
      {"mvoe B-07 to cellar",
       std::string("\"mvoe\" is not understood; is it `move`?") + (kMove + 1)},
      {"new B-07 in cellar", "`new` needs `jar` or `collection` behind it" + new_jar},
      {"new jar", "the new jar's id is missing" + new_jar},
      {"new jar in cellar", "the new jar's id is missing" + new_jar},
      {"new jar rice 1200 g", "the new jar's id is missing" + new_jar},
      {"new jar \"B 07\" in cellar",
       "\"B 07\" cannot be a jar's id: an id is 1 to 32 letters, digits, - and _" + new_jar},
      {"new jar B/07 in cellar",
       "\"B/07\" cannot be a jar's id: an id is 1 to 32 letters, digits, - and _" + new_jar},
      {"new jar alerts in cellar",
       "\"alerts\" cannot be a jar's id: it is a word of the sentences" + new_jar},
      {"new jar B-07 rice 1200 g",
       "where B-07 stands is missing; say: new jar ID in PLACE, then any "
       "of stage, rice, raw, cooked, sugar, sugar-kind, topping, vessel, "
       "empty, mouth, cover, closed, origin, from; for example: new jar B-07 in "
       "cellar/shelf-2"},
      {"new jar B-07 in stage IMO-2",
       "what follows `in` is missing; say: in PLACE; for example: new jar B-07 in cellar/shelf-2"},
      {"new jar B-07 in cellar rice", "what follows `rice` is missing" + rice},
      {"new jar B-07 in cellar rice by \"Mara\"", "what follows `rice` is missing" + rice},
      {"new jar B-07 in cellar rice 1200 sugar 3 g",
       "`rice`: \"1200\" has no unit of weight (one of g, kg, oz, lb)" + rice},
      {"new jar B-07 in cellar rice -5 g", "`rice`: \"-5\" is negative" + rice},
      {"new jar B-07 in cellar rice 1,250 g",
       "`rice`: \"1,250\" may be 1250 or 1.250; write it without the comma" + rice},
      {"new jar B-07 in cellar rice \"1200 g\"", "`rice`: \"1200 g\" is not a weight" + rice},
      {"new jar B-07 in cellar rice 1 g rice 2 g", "`rice` is said twice" + rice},
      {"new jar B-07 in cellar rcie 1 kg",
       "\"rcie\" is not understood here; is it `rice`?" + rice.substr(1)},
      {"new jar B-07 in cellar colour green",
       "\"colour\" is not understood here; text of several words goes in quotes" + new_jar},
      {"new jar B-07 in cellar cover lid",
       "`cover`: which lid is it: a tight lid, or a lid turned back so that gas gets out? say: "
       "cover tissue, cloth, paper, kraft, double kraft, waxed paper, film, lid turned back, tight "
       "lid or airlock; for example: new jar B-07 in cellar/shelf-2 cover kraft"},
      {"new jar B-07 in cellar vessel steel",
       "`vessel`: vessel \"steel\" is not one of glass, ceramic, clay or plastic; say: vessel "
       "glass, "
       "ceramic, clay or plastic, and its volume; for example: new jar B-07 in cellar/shelf-2 "
       "vessel "
       "glass 3.8 l"},
      {"new jar B-07 in cellar closed yesterday",
       "`closed`: \"yesterday\" is not a time; write 2026-03-02T18:30, or with its offset "
       "2026-03-02T18:30+01:00; say: closed DATE; for example: new jar B-07 in cellar/shelf-2 "
       "closed "
       "2026-03-02"},
      {"new jar B-07 in cellar origin beech hollow",
       "\"hollow\" is not understood here; text of several words goes in quotes" + new_jar},
      {"new jar B-09 in cellar from \"beech hollow\"",
       "`from`: \"beech hollow\" cannot be an id: an id is 1 to 32 letters, digits, - and _; say: "
       "from ID, or from ID and ID; for example: new jar B-07 in cellar/shelf-2 from C-01"},
      {"move", std::string("the jar's id is missing") + kMove},
      {"move B-07 cellar/shelf-1",
       std::string("`to` is missing, nothing stands in its place") + kMove},
      {"move B-01 B-02",
       "`to` is missing, nothing stands in its place; say: move ID to PLACE; for example: move "
       "B-01 to cellar/shelf-1"},
      {"move B-07", std::string("`to` is missing, nothing stands in its place") + kMove},
      {"move B-07 to", std::string("the place behind `to` is missing") + kMove},
      {"move B-07 to at 2026-03-02", std::string("the place behind `to` is missing") + kMove},
      {"move B-07 to cellar shelf 1",
       std::string(
           "\"shelf\" is too much; only `at` and `by` may follow, and text of several words "
           "goes in quotes") +
           kMove},
      {"move B-07 to cellar by Mara Huber",
       std::string(
           "\"Huber\" is too much; only `at` and `by` may follow, and text of several words "
           "goes in quotes") +
           kMove},
      {"move B-07 to cellar at noon",
       "`at`: \"noon\" is not a time; write 2026-03-02T18:30, or with its offset "
       "2026-03-02T18:30+01:00; say: at TIME; for example: move B-07 to cellar/shelf-1 at "
       "2026-03-02T18:30"},
      {"move B-07 to cellar at",
       "`at`: nothing is not a time; say: at TIME; for example: move B-07 to "
       "cellar/shelf-1 at 2026-03-02T18:30"},
      {"move B-07 to cellar at 2026-03-02 at 2026-03-02",
       "`at` is said twice; say: at TIME; for example: move B-07 to cellar/shelf-1 at "
       "2026-03-02T18:30"},
      {"move B-07 to cellar by A by B",
       "`by` is said twice; say: by \"NAME\"; for example: move B-07 "
       "to cellar/shelf-1 by \"Mara\""},
      {"move B-07 to cellar by \"\"",
       "`by`: the name is missing; say: by \"NAME\"; for example: move "
       "B-07 to cellar/shelf-1 by \"Mara\""},
      {"seen alert", "the alert's number is missing" + seen},
      {"seen alert soon", "\"soon\" is not an alert's number" + seen},
      {"seen alert 0", "\"0\" is not an alert's number" + seen},
      {"seen alert -1", "\"-1\" is not an alert's number" + seen},
      {"seen alert 18446744073709551616",
       "\"18446744073709551616\" is not an alert's number" + seen},
      {"seen alert 12 13",
       "\"13\" is too much; only `at` and `by` may follow, and text of several words goes in "
       "quotes" +
           seen},
      {"ask", "what to ask about is missing" + ask},
      {"ask by \"Mara\"", "what to ask about is missing" + ask},
      {"ask \"\"", "what to ask about is missing" + ask},
      {"ask \xff", std::string("the text is not UTF-8") + kTaken},
      {"ask\x01", std::string("the text holds a control character (U+0001); send one line of plain "
                              "text") +
                      kTaken},
      {"ask \"B-07", std::string("a quote is opened and not closed") + kTaken},
  };
  for (const auto& [text, refused] : rows) {
    CAPTURE(text);
    CHECK(read(text) == refused);
  }
}

TEST_CASE("every example in a refusal parses") {
  const LocalTime zone = zone_of("Europe/Vienna");
  for (const char* text : {"",
                           "x",
                           "mvoe",
                           "asq",
                           "sene",
                           "nwe",
                           "new",
                           "new jar",
                           "new jar ()",
                           "new jar all in cellar",
                           "new jar a rice 1 kg",
                           "new jar a in",
                           "new jar a stage",
                           "new jar a rice x",
                           "new jar a raw x",
                           "new jar a cooked x",
                           "new jar a sugar x",
                           "new jar a sugar-kind x",
                           "new jar a topping x",
                           "new jar a vessel x",
                           "new jar a empty x",
                           "new jar a mouth x",
                           "new jar a cover x",
                           "new jar a closed x",
                           "new jar a origin",
                           "new jar a in a in a",
                           "new jar a colour",
                           "move",
                           "move a b",
                           "move a to",
                           "move a to b c",
                           "move a to b at",
                           "move a to b by",
                           "move a to b at 2026-03-29T02:30",
                           "seen x",
                           "seen alert",
                           "ask",
                           "add sugar to B-07",
                           "add sugar 120 g",
                           "add 120 g 30 g to B-07",
                           "take B-07",
                           "take 200 g B-07",
                           "open",
                           "cover B-07 kraft",
                           "cover B-07 with tin",
                           "weigh B-07",
                           "weigh B-07 4005",
                           "measure B-07 9 cm",
                           "measure B-07 headspace 9 cm",
                           "observe B-07",
                           "B-07 bubling",
                           "observe B-07 bubling",
                           "B-07 bubbling, glowing",
                           "wake B-07 lively",
                           "wake test B-07 perhaps",
                           "retire B-07",
                           "withdraw entry",
                           "withdraw entry 0 because \"x\"",
                           "withdraw entry 3",
                           "defer alert 12",
                           "defer alert 12 for 31 d because \"x\"",
                           "defer alert 12 for 6 h",
                           "ask \xff"}) {
    CAPTURE(text);
    const auto sentence = parse_sentence(text, zone);
    REQUIRE_FALSE(sentence);
    CHECK(test::is_one_line(sentence.error().text));
    (void)test::parsed(test::example_in(sentence.error().text), zone);
  }
}

TEST_CASE("any bytes are read, or refused in one line with an example that parses") {
  const char* pieces[] = {"new ",
                          "jar ",
                          "B-07 ",
                          "in ",
                          "cellar ",
                          "rice ",
                          "1200 ",
                          "1,250 ",
                          "g ",
                          "2lb",
                          "10 oz ",
                          "\"",
                          "\xE2\x80\x9C",
                          ", ",
                          ".",
                          "at ",
                          "by ",
                          "2026-03-29T02:30 ",
                          "2026-03-02 ",
                          "18:30 ",
                          "move ",
                          "to ",
                          "seen ",
                          "alert ",
                          "12 ",
                          "ask ",
                          "cover ",
                          "lid ",
                          "double kraft ",
                          "sugar ",
                          "kind raw ",
                          "vessel ",
                          "add ",
                          "take ",
                          "weigh ",
                          "observe ",
                          "cellar/shelf-2 ",
                          "bubbling ",
                          "sweet smell ",
                          "all well ",
                          "with ",
                          "because ",
                          "two cups ",
                          "half a ",
                          "from ",
                          "withdraw entry ",
                          "3.8 l ",
                          "\xff",
                          "\x1b",
                          "<b> ",
                          "-",
                          " "};
  const LocalTime zone = zone_of("Europe/Vienna");
  std::mt19937 random(5);
  int understood = 0;
  for (int round = 0; round < 20'000; ++round) {
    std::string text = round % 2 == 0 ? "new jar B-07 in cellar " : "";
    for (unsigned i = 0; i < random() % 12; ++i) text += pieces[random() % std::size(pieces)];
    const auto sentence = parse_sentence(text, zone);
    if (sentence) {
      ++understood;
      continue;
    }
    CAPTURE(text);
    CHECK(test::is_one_line(sentence.error().text));
    (void)test::parsed(test::example_in(sentence.error().text), zone);
  }
  CHECK(understood > 1000);
  CHECK(understood < 15'000);
}

TEST_CASE("a skipped local time in a sentence is refused with both readings") {
  CHECK(test::contains(read("move B-07 to cellar at 2026-03-29T02:30"),
                       "2026-03-29T02:30+01:00 (which the clocks showed as 03:30)"));
}

TEST_CASE("limits of length hold on both sides") {
  const std::string padding(kLongestSentence - std::string("ask jars").size(), ' ');
  CHECK(read(padding + "ask jars") == R"({"about":"jars","act":"ask"})");
  CHECK(
      read(padding + " ask jars") ==
      "the sentence is 1025 bytes long and 1024 are the most; say: new jar, new collection, "
      "split, move, add, take, open, "
      "cover, weigh, measure, observe, wake test, retire, withdraw, defer, seen, ask, calibrate or "
      "check; for example: ask B-07");
  CHECK(test::contains(read("new jar " + std::string(32, 'a') + " in cellar"), "new_jar"));
  CHECK(test::contains(read("new jar " + std::string(33, 'a') + " in cellar"),
                       "cannot be a jar's id"));
  CHECK(test::contains(read("move a to " + std::string(200, 'p')), R"("act":"move")"));
  CHECK(test::contains(read("move a to " + std::string(201, 'p')), "longer than 200 bytes"));
  CHECK(test::contains(read("seen by " + std::string(64, 'n')), "seen"));
  CHECK(test::contains(read("seen by " + std::string(65, 'n')), "longer than 64 bytes"));
  CHECK(test::contains(read("new jar a in b stage " + std::string(32, 's')), "new_jar"));
  CHECK(
      test::contains(read("new jar a in b stage " + std::string(33, 's')), "longer than 32 bytes"));
  CHECK(test::contains(read("new jar a in b origin " + std::string(400, 'o')), "new_jar"));
  CHECK(test::contains(read("new jar a in b origin " + std::string(401, 'o')),
                       "longer than 400 bytes"));
}

TEST_CASE("jar ids are letters, digits, dash and underscore") {
  CHECK(is_jar_id("B-07_x"));
  CHECK(is_jar_id(std::string(32, '9')));
  CHECK_FALSE(is_jar_id(std::string(33, '9')));
  CHECK_FALSE(is_jar_id(""));
  for (const char* text : {"a b", "a.b", "a/b", "\xC3\xA4", "a+", "#", "a\n"}) {
    CAPTURE(text);
    CHECK_FALSE(is_jar_id(text));
  }
}

}  // namespace torpor::daemon

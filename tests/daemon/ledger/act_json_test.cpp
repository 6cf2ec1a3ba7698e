#include <doctest/doctest.h>

#include <random>

#include "daemon/ledger/sentence.h"
#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

namespace {

class RandomActs {
 public:
  explicit RandomActs(unsigned seed) : random_(seed) {}

  Act next() {
    switch (below(13)) {
      case 0:
        return made_from_others();
      case 1:
        return MoveJar{id(), text()};
      case 2:
        return SeenAlert{maybe<std::uint64_t>([&] { return 1 + random_(); })};
      case 3:
        return WithdrawEntry{random_(), text()};
      case 4:
        return DeferAlert{random_(), Duration(below(2'000'000'000)), text()};
      case 5:
      case 6:
        return JarDeed{id(), deed()};
      case 7:
        return BeginCheck{text(), means()};
      case 8:
        return EndCheck{text(), means(), maybe<torpor::Check>([&] { return check(); })};
      case 9:
        return collection();
      case 11:
        return DateAnew{random_(), random_(), instant_of(below(2'000'000'000)),
                        Duration(below(2'000'000'000)) - Duration(1'000'000'000)};
      case 10:
        return SplitJar{id(), grams(), new_jar()};
      default:
        return Ask{text()};
    }
  }

 private:
  unsigned below(unsigned limit) { return static_cast<unsigned>(random_() % limit); }

  template <class T, class Make>
  std::optional<T> maybe(Make make) {
    return below(2) == 0 ? std::nullopt : std::optional<T>(make());
  }

  std::string id() {
    constexpr std::string_view kLetters = "abcXYZ019-_";
    std::string id;
    for (unsigned i = 0; i < 1 + below(32); ++i) id += kLetters[below(kLetters.size())];
    return id;
  }

  std::string text() {
    const char* kPieces[] = {"a", "\"", "\\", "/", " ", "<b>", "\xC3\xA4", "\xF0\x9F\x8D\x84",
                             "\n"};
    std::string text;
    for (unsigned i = 0; i < 1 + below(12); ++i) text += kPieces[below(std::size(kPieces))];
    return text;
  }

  CheckMeans means() {
    switch (below(4)) {
      case 0:
        return MeltingIce{};
      case 1:
        return Instrument{Quantity::temperature, -3.5, 0.25};
      case 2:
        return Instrument{Quantity::humidity, 55.0, 2.0};
      default:
        return salts()[below(static_cast<unsigned>(salts().size()))].salt;
    }
  }

  torpor::Check check() {
    const Quantity quantity = below(2) == 0 ? Quantity::temperature : Quantity::humidity;
    return {instant_of(1'700'000'000'000 + below(1'000'000'000)), quantity, amount() - 100.0,
            amount() - 100.0, amount()};
  }

  double amount() { return std::uniform_real_distribution(0.0, 50000.0)(random_); }
  Grams grams() { return Grams(amount()); }

  Deed deed() {
    namespace culture = rules::culture;
    switch (below(10)) {
      case 0:
        return culture::AddSugar{grams(),
                                 maybe<SugarKind>([&] { return static_cast<SugarKind>(below(3)); }),
                                 below(2) == 0};
      case 1:
        return TakeOut{grams(), below(2) ? text() : std::string()};
      case 2:
        return culture::Open{};
      case 3:
        return culture::ChangeCover{static_cast<Cover>(below(10))};
      case 4:
        return RetireJar{text()};
      case 5: {
        culture::Look look;
        for (unsigned i = 0; i < 1 + below(4); ++i) {
          look.signs.push_back(static_cast<culture::Sign>(below(20)));
        }
        return look;
      }
      case 6:
        return culture::Weighing{grams(), below(2) == 0};
      case 7:
        return culture::Level{amount()};
      case 8:
        return culture::Headspace{Percent(amount())};
      default:
        return culture::WakeTest{below(2) == 0};
    }
  }

  NewCollection collection() {
    NewCollection made;
    made.collection = id();
    made.where = text();
    if (below(2)) made.trees = text();
    if (below(2)) made.weather = text();
    if (below(2)) made.looked = text();
    made.lay = maybe<Duration>([&] { return Duration(below(2'000'000'000)); });
    made.rice = maybe<Grams>([&] { return grams(); });
    made.gathered = maybe<Instant>([&] { return instant_of(below(2'000'000'000)); });
    return made;
  }

  NewJar new_jar() {
    NewJar jar;
    jar.jar = id();
    jar.place = text();
    if (below(2)) jar.stage = text();
    if (below(2)) jar.origin = text();
    for (auto member : {&NewJar::rice, &NewJar::raw, &NewJar::sugar, &NewJar::topping,
                        &NewJar::empty, &NewJar::cooked_weight}) {
      jar.*member = maybe<Grams>([&] { return grams(); });
    }
    jar.cooked = maybe<CookedWord>([&] { return static_cast<CookedWord>(below(3)); });
    jar.sugar_kind = maybe<SugarKind>([&] { return static_cast<SugarKind>(below(3)); });
    jar.vessel = maybe<Vessel>([&] { return static_cast<Vessel>(below(4)); });
    jar.cover = maybe<Cover>([&] { return static_cast<Cover>(below(10)); });
    jar.volume_ml = maybe<double>([&] { return amount(); });
    jar.mouth_mm = maybe<double>([&] { return amount(); });
    jar.closed = maybe<Instant>([&] {  // to the millisecond, 1970 to 2100
      return instant_of(static_cast<std::int64_t>(random_() % 4'102'444'800'000ULL));
    });
    return jar;
  }

  NewJar made_from_others() {
    NewJar jar = new_jar();
    for (unsigned i = below(4); i > 0; --i) jar.from.push_back(id());
    return jar;
  }

  std::mt19937_64 random_;
};

std::string error_of(std::string_view json) {
  const auto act = act_from_json(json);
  return act ? "understood" : act.error();
}

}  // namespace

TEST_CASE("an act read back from its JSON is the same act") {
  RandomActs acts(7);
  for (int i = 0; i < 5000; ++i) {
    const Act act = acts.next();
    const std::string json = act_to_json(act);
    CAPTURE(json);
    const auto back = act_from_json(json);
    REQUIRE(back);
    CHECK(*back == act);
  }
}

TEST_CASE("a damaged act is an error, never a crash") {
  const char* rows[][2] = {
      {"", "the journal entry \"\" is not a JSON object"},
      {"{", "the journal entry \"{\" is not a JSON object"},
      {"[]", "the journal entry \"[]\" is not a JSON object"},
      {"null", "the journal entry \"null\" is not a JSON object"},
      {"{}", "the journal entry's act \"\" is not known to this version"},
      {R"({"act":7})", "the journal entry's act \"\" is not known to this version"},
      {R"({"act":"bury"})", "the journal entry's act \"bury\" is not known to this version"},
      {R"({"act":"open"})", "the journal entry's \"jar\" is missing"},
      {R"({"act":"add_sugar","jar":"a","stirred":false})",
       "the journal entry's \"sugar_g\" is missing"},
      {R"({"act":"add_sugar","jar":"a","sugar_g":1,"stirred":1})",
       "the journal entry's \"stirred\" is not true or false"},
      {R"({"act":"cover","jar":"a"})", "the journal entry's \"cover\" is missing"},
      {R"({"act":"observe","jar":"a","signs":[]})",
       "the journal entry's \"signs\" is not a list of signs"},
      {R"({"act":"observe","jar":"a","signs":["own warmth"]})",
       "the journal entry's \"signs\" holds a word that this version does not know"},
      {R"({"act":"withdraw","because":"x"})", "the journal entry's \"entry\" is missing"},
      {R"({"act":"move","jar":"a"})", "the journal entry's \"place\" is missing"},
      {R"({"act":"move","jar":"a","place":""})", "the journal entry's \"place\" is empty"},
      {R"({"act":"move","jar":"a","place":1})", "the journal entry's \"place\" is not a text"},
      {R"({"act":"new_jar","jar":"a b","place":"c"})",
       "the journal entry's \"jar\" is not a jar's id"},
      {R"({"act":"move","jar":"a","place":"c","x":1})",
       "the journal entry's \"x\" is not known to this version"},
      {R"({"act":"new_jar","jar":"a","place":"c","rice_g":-1})",
       "the journal entry's \"rice_g\" is not an amount"},
      {R"({"act":"new_jar","jar":"a","place":"c","rice_g":"1"})",
       "the journal entry's \"rice_g\" is not an amount"},
      {R"({"act":"new_jar","jar":"a","place":"c","rice_g":1e999})",
       "the journal entry \"{\"act\":\"new_jar\",\"jar\":\"a\",\"place\":\"c\",\"...\" is not a "
       "JSON "
       "object"},
      {R"({"act":"new_jar","jar":"a","place":"c","cover":"tin"})",
       "the journal entry's \"cover\" is not a word that this version knows"},
      {R"({"act":"new_jar","jar":"a","place":"c","closed":"2026-03-02"})",
       "the journal entry's \"closed\" is not an RFC 3339 time"},
      {R"({"act":"seen","alert":-1})", "the journal entry's \"alert\" is not a number"},
      {R"({"act":"seen","alert":1.5})", "the journal entry's \"alert\" is not a number"},
      {R"({"act":"new_jar","jar":"a","place":"c","from":"b"})",
       "the journal entry's \"from\" is not a list of ids"},
      {R"({"act":"new_jar","jar":"a","place":"c","from":["b c"]})",
       "the journal entry's \"from\" holds what is not an id"},
      {R"({"act":"new_collection","collection":"a"})", "the journal entry's \"where\" is missing"},
      {R"({"act":"split","jar":"a","place":"c","from":"b"})",
       "the journal entry's \"contents_g\" is missing"},
      {R"({"act":"ask"})", "the journal entry's \"about\" is missing"},
      {"\xff", "the journal entry \"\xEF\xBF\xBD\" is not a JSON object"},
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    CHECK(error_of(row[0]) == row[1]);
  }
}

TEST_CASE("an act with any byte flipped is read or refused, never a crash") {
  RandomActs acts(11);
  std::mt19937 random(11);
  int refused = 0;
  for (int i = 0; i < 5000; ++i) {
    std::string json = act_to_json(acts.next());
    json[random() % json.size()] = static_cast<char>(random());
    if (!act_from_json(json)) ++refused;
  }
  CHECK(refused > 1000);  // most bytes matter
  CHECK(refused < 5000);
  CHECK(error_of(std::string(100'000, '[')).size() < 200);
}

TEST_CASE("text that is no UTF-8 does not break the journal") {
  const std::string json = act_to_json(Ask{"a\xff"});
  REQUIRE(act_from_json(json));
  CHECK(std::get<Ask>(*act_from_json(json)).about == "a\xEF\xBF\xBD");
}

}  // namespace torpor::daemon

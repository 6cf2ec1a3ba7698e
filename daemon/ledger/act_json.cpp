// The journal's form of an act: one JSON object with `act` and the act's own keys; what is not
// known has no key. Stored: keys and words do not change.
//
// {"act":"new_jar","jar":"B-07","place":"cellar/shelf-2","rice_g":1200.0,"closed":"2026-03-01T23:00:00Z",
//  "from":["C-01"]}
// {"act":"new_collection","collection":"C-01","where":"beech
// hollow","lay_s":432000.0,"rice_g":1200.0}
// {"act":"split","jar":"B-08","from":"B-07","contents_g":600.0,"place":"cellar/shelf-1"}
// {"act":"move","jar":"B-07","place":"cellar/shelf-1"}
// {"act":"add_sugar","jar":"B-07","sugar_g":120.0,"sugar_kind":"brown","stirred":true}
// {"act":"take","jar":"B-07","contents_g":200.0,"purpose":"heap 4"}     {"act":"open","jar":"B-07"}
// {"act":"cover","jar":"B-07","cover":"kraft"}     {"act":"retire","jar":"B-07","because":"used
// up"}
// {"act":"observe","jar":"B-07","signs":["bubbling","sweet smell"]}
// {"act":"weigh","jar":"B-07","weight_g":4005.0,"with_vessel":true}
// {"act":"measure","jar":"B-07","level_mm":90.0}
// {"act":"measure","jar":"B-07","headspace_percent":82.0}
// {"act":"wake_test","jar":"B-07","lively":true}   {"act":"withdraw","entry":118,"because":"wrong
// jar"}
// {"act":"defer","alert":12,"for_s":21600.0,"because":"moving tonight"}
// {"act":"begin_check","sensor":"s1","in":"table salt"}
// {"act":"begin_check","sensor":"s1","against_degC":21.4,"against_uncertainty_K":0.25}
// {"act":"end_check","sensor":"s1","in":"ice","checked":"2026-03-02T17:30:00Z","expected_degC":0.0,
//  "shown_degC":0.6,"uncertainty_K":0.12}    without a result: the first three alone
// {"act":"seen","alert":12}   {"act":"seen"}   {"act":"ask","about":"jars"}
#include <fmt/format.h>

#include <array>
#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/sensor_checks.h"
#include "daemon/ledger/sentence.h"
#include "daemon/ledger/tokens.h"
#include "daemon/ledger/vocabulary.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

namespace {

using nlohmann::json;
namespace culture = rules::culture;

struct MassKey {
  const char* key;
  std::optional<Grams> NewJar::*member;
};
constexpr std::array kMassKeys = {
    MassKey{"rice_g", &NewJar::rice},
    MassKey{"raw_g", &NewJar::raw},
    MassKey{"cooked_g", &NewJar::cooked_weight},
    MassKey{"sugar_g", &NewJar::sugar},
    MassKey{"topping_g", &NewJar::topping},
    MassKey{"empty_g", &NewJar::empty},
};

// All but its parents.
json jar_to_json(const char* act, const NewJar& jar) {
  json object = {{"act", act}, {"jar", jar.jar}, {"place", jar.place}};
  for (const MassKey& mass : kMassKeys) {
    if (jar.*mass.member) object[mass.key] = (jar.*mass.member)->value();
  }
  if (!jar.stage.empty()) object["stage"] = jar.stage;
  if (!jar.origin.empty()) object["origin"] = jar.origin;
  if (jar.cooked) object["cooked"] = cooked_name(*jar.cooked);
  if (jar.sugar_kind) object["sugar_kind"] = sugar_kind_name(*jar.sugar_kind);
  if (jar.vessel) object["vessel"] = vessel_name(*jar.vessel);
  if (jar.cover) object["cover"] = cover_name(*jar.cover);
  if (jar.volume_ml) object["volume_ml"] = *jar.volume_ml;
  if (jar.mouth_mm) object["mouth_mm"] = *jar.mouth_mm;
  if (jar.closed) object["closed"] = to_rfc3339(*jar.closed);
  return object;
}

json to_json(const NewJar& jar) {
  json object = jar_to_json("new_jar", jar);
  if (!jar.from.empty()) object["from"] = jar.from;
  return object;
}

json to_json(const NewCollection& collection) {
  json object = {{"act", "new_collection"},
                 {"collection", collection.collection},
                 {"where", collection.where}};
  if (!collection.trees.empty()) object["trees"] = collection.trees;
  if (!collection.weather.empty()) object["weather"] = collection.weather;
  if (!collection.looked.empty()) object["looked"] = collection.looked;
  if (collection.lay) object["lay_s"] = std::chrono::duration<double>(*collection.lay).count();
  if (collection.rice) object["rice_g"] = collection.rice->value();
  if (collection.gathered) object["gathered"] = to_rfc3339(*collection.gathered);
  return object;
}

json to_json(const SplitJar& split) {
  json object = jar_to_json("split", split.made);
  object["from"] = split.from;
  object["contents_g"] = split.contents.value();
  return object;
}

json to_json(const MoveJar& move) {
  return {{"act", "move"}, {"jar", move.jar}, {"place", move.place}};
}

json to_json(const culture::AddSugar& add) {
  json object = {{"act", "add_sugar"}, {"sugar_g", add.sugar.value()}, {"stirred", add.stirred}};
  if (add.kind) object["sugar_kind"] = sugar_kind_name(*add.kind);
  return object;
}

json to_json(const TakeOut& take) {
  json object = {{"act", "take"}, {"contents_g", take.contents.value()}};
  if (!take.purpose.empty()) object["purpose"] = take.purpose;
  return object;
}

json to_json(const culture::Open&) { return {{"act", "open"}}; }

json to_json(const culture::ChangeCover& change) {
  return {{"act", "cover"}, {"cover", cover_name(change.cover)}};
}

json to_json(const RetireJar& retire) { return {{"act", "retire"}, {"because", retire.because}}; }

json to_json(const culture::Look& look) {
  json names = json::array();
  for (const culture::Sign sign : look.signs) names.push_back(culture::facts(sign).name);
  return {{"act", "observe"}, {"signs", std::move(names)}};
}

json to_json(const culture::Weighing& weighing) {
  return {{"act", "weigh"},
          {"weight_g", weighing.weight.value()},
          {"with_vessel", weighing.with_vessel}};
}

json to_json(const culture::Level& level) {
  return {{"act", "measure"}, {"level_mm", level.millimetres}};
}

json to_json(const culture::Headspace& headspace) {
  return {{"act", "measure"}, {"headspace_percent", headspace.humidity.value()}};
}

json to_json(const culture::WakeTest& test) {
  return {{"act", "wake_test"}, {"lively", test.lively}};
}

json to_json(const JarDeed& told) {
  json object = std::visit([](const auto& deed) { return to_json(deed); }, told.deed);
  object["jar"] = told.jar;
  return object;
}

json to_json(const WithdrawEntry& withdraw) {
  return {{"act", "withdraw"}, {"entry", withdraw.entry}, {"because", withdraw.because}};
}

json to_json(const DeferAlert& defer) {
  return {{"act", "defer"},
          {"alert", defer.alert},
          {"for_s", std::chrono::duration<double>(defer.lasting).count()},
          {"because", defer.because}};
}

json to_json(const SeenAlert& seen) {
  json object = {{"act", "seen"}};
  if (seen.number) object["alert"] = *seen.number;
  return object;
}

struct ComparisonKeys {
  Quantity quantity;
  const char *against, *within;  // one standard deviation
};
constexpr std::array kComparisonKeys = {
    ComparisonKeys{Quantity::temperature, "against_degC", "against_uncertainty_K"},
    ComparisonKeys{Quantity::humidity, "against_percent", "against_uncertainty_percent"},
};

void put_means(json& object, const CheckMeans& means) {
  const Instrument* beside = instrument_of(means);
  for (const ComparisonKeys& keys : kComparisonKeys) {
    if (beside == nullptr || keys.quantity != beside->quantity) continue;
    object[keys.against] = beside->value;
    object[keys.within] = beside->uncertainty;
  }
  if (beside != nullptr) return;
  object["in"] = bath_name(means);
}

json to_json(const DateAnew& anew) {
  return {{"act", "date_anew"},
          {"first", anew.first},
          {"last", anew.last},
          {"from", to_rfc3339(anew.from)},
          {"by_s", std::chrono::duration<double>(anew.by).count()}};
}

json to_json(const BeginCheck& begin) {
  json object = {{"act", "begin_check"}, {"sensor", begin.sensor}};
  put_means(object, begin.means);
  return object;
}

struct CheckKeys {
  Quantity quantity;
  const char *expected, *shown, *uncertainty;
};
constexpr std::array kCheckKeys = {
    CheckKeys{Quantity::temperature, "expected_degC", "shown_degC", "uncertainty_K"},
    CheckKeys{Quantity::humidity, "expected_percent", "shown_percent", "uncertainty_percent"},
};

json to_json(const EndCheck& end) {
  json object = {{"act", "end_check"}, {"sensor", end.sensor}};
  put_means(object, end.means);
  if (!end.check) return object;
  object["checked"] = to_rfc3339(end.check->at);
  for (const CheckKeys& keys : kCheckKeys) {
    if (keys.quantity != end.check->quantity) continue;
    object[keys.expected] = end.check->expected;
    object[keys.shown] = end.check->shown;
    object[keys.uncertainty] = end.check->uncertainty;
  }
  return object;
}

json to_json(const Ask& ask) { return {{"act", "ask"}, {"about", ask.about}}; }

// Takes keys out of an object, keeps the first fault, and at the end names keys that nobody took.
class ActReader {
 public:
  explicit ActReader(const json& object) : object_(object) {}

  void text(const char* key, std::string& into, bool needed) {
    const json* value = take(key, needed);
    if (value == nullptr) return;
    if (!value->is_string()) return fault(key, "is not a text");
    into = value->get<std::string>();
    if (needed && into.empty()) fault(key, "is empty");
  }

  void id(const char* key, std::string& into) {
    text(key, into, true);
    if (fault_.empty() && !is_jar_id(into)) fault(key, "is not a jar's id");
  }

  void means(CheckMeans& into) {
    for (const ComparisonKeys& keys : kComparisonKeys) {
      if (!has(keys.against)) continue;
      Instrument beside{keys.quantity, 0.0, 0.0};
      needed_real(keys.against, beside.value);
      needed_real(keys.within, beside.uncertainty);
      into = beside;
      return;
    }
    std::string name;
    text("in", name, true);
    const auto salt = salt_named(name);
    if (salt) into = *salt;
    if (!salt && name != bath_name(MeltingIce{}))
      fault("in", "is not a salt that this version knows");
  }

  void needed_real(const char* key, double& into) {
    const json* value = take(key, true);
    if (value == nullptr) return;
    const double number = value->is_number() ? value->get<double>() : std::nan("");
    if (!std::isfinite(number)) return fault(key, "is not a number");
    into = number;
  }

  template <class Amount>
  void amount(const char* key, std::optional<Amount>& into) {
    const json* value = take(key, false);
    if (value == nullptr) return;
    const double number = value->is_number() ? value->get<double>() : -1.0;
    if (!std::isfinite(number) || number < 0.0) return fault(key, "is not an amount");
    into = Amount(number);
  }

  template <class Meaning>
  void word(const char* key, std::span<const Word<Meaning>> words, std::optional<Meaning>& into) {
    std::string name;
    text(key, name, false);
    if (name.empty()) return;
    into = meaning_of(words, name);
    if (!into) fault(key, "is not a word that this version knows");
  }

  template <class Meaning>
  void needed_word(const char* key, std::span<const Word<Meaning>> words,
                   std::optional<Meaning>& into) {
    word(key, words, into);
    if (!into) fault(key, "is missing");
  }

  void time(const char* key, std::optional<Instant>& into) {
    std::string value;
    text(key, value, false);
    if (value.empty()) return;
    into = parse_rfc3339(value);
    if (!into) fault(key, "is not an RFC 3339 time");
  }

  void truth(const char* key, bool& into) {
    const json* value = take(key, true);
    if (value == nullptr) return;
    if (!value->is_boolean()) return fault(key, "is not true or false");
    into = value->get<bool>();
  }

  void needed_amount(const char* key, double& into) {
    std::optional<double> value;
    amount(key, value);
    if (!value) return fault(key, "is missing");
    into = *value;
  }

  void needed_number(const char* key, std::uint64_t& into) {
    std::optional<std::uint64_t> value;
    number(key, value);
    if (!value) return fault(key, "is missing");
    into = *value;
  }

  void signs(const char* key, std::vector<culture::Sign>& into) {
    const json* value = take(key, true);
    if (value == nullptr) return;
    if (!value->is_array() || value->empty()) return fault(key, "is not a list of signs");
    for (const json& name : *value) {
      const auto sign =
          name.is_string() ? culture::sign_named(name.get<std::string>()) : std::nullopt;
      if (!sign) return fault(key, "holds a word that this version does not know");
      into.push_back(*sign);
    }
  }

  void ids(const char* key, std::vector<std::string>& into) {
    const json* value = take(key, false);
    if (value == nullptr) return;
    if (!value->is_array()) return fault(key, "is not a list of ids");
    for (const json& id : *value) {
      if (!id.is_string() || !is_jar_id(id.get<std::string>())) {
        return fault(key, "holds what is not an id");
      }
      into.push_back(id.get<std::string>());
    }
  }

  void span(const char* key, std::optional<Duration>& into) {
    // A century is more than anything here takes and still fits the clock.
    constexpr double kMostSeconds = 3.2e9;
    std::optional<double> seconds;
    amount(key, seconds);
    if (!seconds) return;
    into = std::chrono::round<Duration>(
        std::chrono::duration<double>(std::min(*seconds, kMostSeconds)));
  }

  void needed_span(const char* key, std::optional<Duration>& into) {
    span(key, into);
    if (!into) fault(key, "is missing");
  }

  [[nodiscard]] bool has(const char* key) const { return object_.contains(key); }

  void number(const char* key, std::optional<std::uint64_t>& into) {
    const json* value = take(key, false);
    if (value == nullptr) return;
    if (!value->is_number_unsigned()) return fault(key, "is not a number");
    into = value->get<std::uint64_t>();
  }

  template <class Read>
  tl::expected<Act, std::string> finish(Read act) {
    for (const auto& [key, value] : object_.items()) {
      if (taken_.count(key) == 0) fault(key, "is not known to this version");
    }
    if (!fault_.empty()) return tl::unexpected(fault_);
    return Act(std::move(act));
  }

 private:
  const json* take(const char* key, bool needed) {
    taken_.insert(key);
    const auto found = object_.find(key);
    if (found != object_.end()) return &*found;
    if (needed) fault(key, "is missing");
    return nullptr;
  }

  void fault(std::string_view key, std::string_view what) {
    if (fault_.empty()) fault_ = fmt::format("the journal entry's {} {}", shown(key), what);
  }

  const json& object_;
  std::set<std::string, std::less<>> taken_{"act"};
  std::string fault_;
};

// All but its parents.
NewJar read_jar(ActReader& reader) {
  NewJar jar;
  reader.id("jar", jar.jar);
  reader.text("place", jar.place, true);
  reader.text("stage", jar.stage, false);
  reader.text("origin", jar.origin, false);
  for (const MassKey& mass : kMassKeys) reader.amount(mass.key, jar.*mass.member);
  reader.word("cooked", cooked_words(), jar.cooked);
  reader.word("sugar_kind", sugar_kinds(), jar.sugar_kind);
  reader.word("vessel", vessels(), jar.vessel);
  reader.word("cover", covers(), jar.cover);
  reader.amount("volume_ml", jar.volume_ml);
  reader.amount("mouth_mm", jar.mouth_mm);
  reader.time("closed", jar.closed);
  return jar;
}

tl::expected<Act, std::string> read_new_jar(const json& object) {
  ActReader reader(object);
  NewJar jar = read_jar(reader);
  reader.ids("from", jar.from);
  return reader.finish(std::move(jar));
}

tl::expected<Act, std::string> read_new_collection(const json& object) {
  ActReader reader(object);
  NewCollection collection;
  reader.id("collection", collection.collection);
  reader.text("where", collection.where, true);
  reader.text("trees", collection.trees, false);
  reader.text("weather", collection.weather, false);
  reader.text("looked", collection.looked, false);
  reader.span("lay_s", collection.lay);
  reader.amount("rice_g", collection.rice);
  reader.time("gathered", collection.gathered);
  return reader.finish(std::move(collection));
}

tl::expected<Act, std::string> read_split(const json& object) {
  ActReader reader(object);
  SplitJar split;
  double grams = 0.0;
  split.made = read_jar(reader);
  reader.id("from", split.from);
  reader.needed_amount("contents_g", grams);
  split.contents = Grams(grams);
  return reader.finish(std::move(split));
}

tl::expected<Act, std::string> read_move(const json& object) {
  ActReader reader(object);
  MoveJar move;
  reader.text("jar", move.jar, true);
  reader.text("place", move.place, true);
  return reader.finish(std::move(move));
}

// Reads the jar, and the deed by `read`, which gives it.
template <class Read>
tl::expected<Act, std::string> read_deed(const json& object, Read read) {
  ActReader reader(object);
  JarDeed told;
  reader.text("jar", told.jar, true);
  told.deed = read(reader);
  return reader.finish(std::move(told));
}

tl::expected<Act, std::string> read_add_sugar(const json& object) {
  return read_deed(object, [](ActReader& reader) {
    culture::AddSugar add;
    double grams = 0.0;
    reader.needed_amount("sugar_g", grams);
    add.sugar = Grams(grams);
    reader.word("sugar_kind", sugar_kinds(), add.kind);
    reader.truth("stirred", add.stirred);
    return add;
  });
}

tl::expected<Act, std::string> read_take(const json& object) {
  return read_deed(object, [](ActReader& reader) {
    double grams = 0.0;
    reader.needed_amount("contents_g", grams);
    TakeOut take{Grams(grams), ""};
    reader.text("purpose", take.purpose, false);
    return take;
  });
}

tl::expected<Act, std::string> read_open(const json& object) {
  return read_deed(object, [](ActReader&) { return culture::Open{}; });
}

tl::expected<Act, std::string> read_cover(const json& object) {
  return read_deed(object, [](ActReader& reader) {
    std::optional<Cover> cover;
    reader.needed_word("cover", covers(), cover);
    return culture::ChangeCover{cover.value_or(Cover::paper)};
  });
}

tl::expected<Act, std::string> read_retire(const json& object) {
  return read_deed(object, [](ActReader& reader) {
    RetireJar retire;
    reader.text("because", retire.because, true);
    return retire;
  });
}

tl::expected<Act, std::string> read_observe(const json& object) {
  return read_deed(object, [](ActReader& reader) {
    culture::Look look;
    reader.signs("signs", look.signs);
    return look;
  });
}

tl::expected<Act, std::string> read_weigh(const json& object) {
  return read_deed(object, [](ActReader& reader) {
    double grams = 0.0;
    bool with_vessel = false;
    reader.needed_amount("weight_g", grams);
    reader.truth("with_vessel", with_vessel);
    return culture::Weighing{Grams(grams), with_vessel};
  });
}

tl::expected<Act, std::string> read_measure(const json& object) {
  return read_deed(object, [](ActReader& reader) -> Deed {
    double value = 0.0;
    if (reader.has("headspace_percent")) {
      reader.needed_amount("headspace_percent", value);
      return culture::Headspace{Percent(value)};
    }
    reader.needed_amount("level_mm", value);
    return culture::Level{value};
  });
}

tl::expected<Act, std::string> read_wake_test(const json& object) {
  return read_deed(object, [](ActReader& reader) {
    culture::WakeTest test;
    reader.truth("lively", test.lively);
    return test;
  });
}

tl::expected<Act, std::string> read_withdraw(const json& object) {
  ActReader reader(object);
  WithdrawEntry withdraw;
  reader.needed_number("entry", withdraw.entry);
  reader.text("because", withdraw.because, true);
  return reader.finish(std::move(withdraw));
}

tl::expected<Act, std::string> read_defer(const json& object) {
  ActReader reader(object);
  DeferAlert defer;
  std::optional<Duration> lasting;
  reader.needed_number("alert", defer.alert);
  reader.needed_span("for_s", lasting);
  defer.lasting = lasting.value_or(Duration{});
  reader.text("because", defer.because, true);
  return reader.finish(std::move(defer));
}

tl::expected<Act, std::string> read_seen(const json& object) {
  ActReader reader(object);
  SeenAlert seen;
  reader.number("alert", seen.number);
  return reader.finish(seen);
}

tl::expected<Act, std::string> read_ask(const json& object) {
  ActReader reader(object);
  Ask ask;
  reader.text("about", ask.about, true);
  return reader.finish(std::move(ask));
}

tl::expected<Act, std::string> read_begin_check(const json& object) {
  ActReader reader(object);
  BeginCheck begin;
  reader.text("sensor", begin.sensor, true);
  reader.means(begin.means);
  return reader.finish(std::move(begin));
}

tl::expected<Act, std::string> read_end_check(const json& object) {
  ActReader reader(object);
  EndCheck end;
  reader.text("sensor", end.sensor, true);
  reader.means(end.means);
  std::optional<Instant> checked;
  reader.time("checked", checked);
  if (checked) {
    const CheckKeys& keys = kCheckKeys[reader.has(kCheckKeys[0].expected) ? 0 : 1];
    Check check;
    check.at = *checked;
    check.quantity = keys.quantity;
    reader.needed_real(keys.expected, check.expected);
    reader.needed_real(keys.shown, check.shown);
    reader.needed_real(keys.uncertainty, check.uncertainty);
    end.check = check;
  }
  return reader.finish(std::move(end));
}

tl::expected<Act, std::string> read_date_anew(const json& object) {
  ActReader reader(object);
  DateAnew anew;
  std::optional<Instant> from;
  double by = 0.0;
  reader.needed_number("first", anew.first);
  reader.needed_number("last", anew.last);
  reader.time("from", from);
  reader.needed_real("by_s", by);
  anew.from = from.value_or(Instant{});
  anew.by = std::chrono::round<Duration>(std::chrono::duration<double>(by));
  return reader.finish(anew);
}

struct ActReading {
  std::string_view name;
  tl::expected<Act, std::string> (*read)(const json& object);
};
constexpr std::array kActs = {
    ActReading{"new_jar", read_new_jar},
    ActReading{"new_collection", read_new_collection},
    ActReading{"split", read_split},
    ActReading{"move", read_move},
    ActReading{"add_sugar", read_add_sugar},
    ActReading{"take", read_take},
    ActReading{"open", read_open},
    ActReading{"cover", read_cover},
    ActReading{"retire", read_retire},
    ActReading{"observe", read_observe},
    ActReading{"weigh", read_weigh},
    ActReading{"measure", read_measure},
    ActReading{"wake_test", read_wake_test},
    ActReading{"withdraw", read_withdraw},
    ActReading{"defer", read_defer},
    ActReading{"seen", read_seen},
    ActReading{"ask", read_ask},
    ActReading{"begin_check", read_begin_check},
    ActReading{"end_check", read_end_check},
    ActReading{"date_anew", read_date_anew},
};

}  // namespace

std::string act_to_json(const Act& act) {
  const json object = std::visit([](const auto& one) { return to_json(one); }, act);
  // Parsed sentences are UTF-8; whatever else comes must not throw out of the ledger.
  return object.dump(-1, ' ', false, json::error_handler_t::replace);
}

tl::expected<Act, std::string> act_from_json(std::string_view text) {
  const json object = json::parse(text, nullptr, /*allow_exceptions=*/false);
  if (!object.is_object()) {
    return tl::unexpected(fmt::format("the journal entry {} is not a JSON object", shown(text)));
  }
  const auto act = object.find("act");
  const std::string name =
      act != object.end() && act->is_string() ? act->get<std::string>() : std::string();
  for (const ActReading& known : kActs) {
    if (known.name == name) return known.read(object);
  }
  return tl::unexpected(
      fmt::format("the journal entry's act {} is not known to this version", shown(name)));
}

}  // namespace torpor::daemon

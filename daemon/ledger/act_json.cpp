// The journal's form of an act: one JSON object with `act` and the act's own keys; what is not
// known has no key. Stored: keys and words do not change.
//
// {"act":"new_jar","jar":"B-07","place":"cellar/shelf-2","rice_g":1200.0,"closed":"2026-03-01T23:00:00Z"}
// {"act":"move","jar":"B-07","place":"cellar/shelf-1"}
// {"act":"seen","alert":12}   {"act":"seen"}   {"act":"ask","about":"jars"}
#include <fmt/format.h>

#include <array>
#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/sentence.h"
#include "daemon/ledger/tokens.h"
#include "daemon/ledger/vocabulary.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

namespace {

using nlohmann::json;

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

json to_json(const NewJar& jar) {
  json object = {{"act", "new_jar"}, {"jar", jar.jar}, {"place", jar.place}};
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

json to_json(const MoveJar& move) {
  return {{"act", "move"}, {"jar", move.jar}, {"place", move.place}};
}

json to_json(const SeenAlert& seen) {
  json object = {{"act", "seen"}};
  if (seen.number) object["alert"] = *seen.number;
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

  void time(const char* key, std::optional<Instant>& into) {
    std::string value;
    text(key, value, false);
    if (value.empty()) return;
    into = parse_rfc3339(value);
    if (!into) fault(key, "is not an RFC 3339 time");
  }

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

tl::expected<Act, std::string> read_new_jar(const json& object) {
  ActReader reader(object);
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
  return reader.finish(std::move(jar));
}

tl::expected<Act, std::string> read_move(const json& object) {
  ActReader reader(object);
  MoveJar move;
  reader.id("jar", move.jar);
  reader.text("place", move.place, true);
  return reader.finish(std::move(move));
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

struct ActReading {
  std::string_view name;
  tl::expected<Act, std::string> (*read)(const json& object);
};
constexpr std::array kActs = {
    ActReading{"new_jar", read_new_jar},
    ActReading{"move", read_move},
    ActReading{"seen", read_seen},
    ActReading{"ask", read_ask},
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

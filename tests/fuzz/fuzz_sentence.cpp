// Any bytes as a tell sentence: what is refused says so in one line, and an act that was understood
// survives the journal.
#include <cmath>
#include <cstdint>
#include <string>

#include "daemon/ledger/local_time.h"
#include "daemon/ledger/sentence.h"
#include "sensors/utf8.h"
#include "tests/fuzz/checks.h"

namespace torpor::fuzz {
namespace {

const daemon::LocalTime& vienna() {
  static const auto zone = daemon::LocalTime::in_zone("Europe/Vienna");
  require(zone.has_value(), "the time zone data of the system is installed");
  return *zone;
}

void check_amounts(const daemon::NewJar& jar) {
  for (const auto& amount :
       {jar.rice, jar.raw, jar.sugar, jar.topping, jar.empty, jar.cooked_weight}) {
    require(!amount || (std::isfinite(amount->value()) && amount->value() >= 0.0),
            "a weight is finite and not negative");
  }
  for (const auto& size : {jar.volume_ml, jar.mouth_mm}) {
    require(!size || (std::isfinite(*size) && *size >= 0.0), "a size is finite, not negative");
  }
}

void check_sentence(const daemon::Sentence& sentence) {
  if (const auto* jar = std::get_if<daemon::NewJar>(&sentence.act)) check_amounts(*jar);
  const std::string json = act_to_json(sentence.act);
  require(find_not_utf8(json) == std::string_view::npos, "a journal entry is UTF-8");
  const auto act = daemon::act_from_json(json);
  require(act.has_value(), "an act reads back from the journal");
  require(*act == sentence.act, "an act is the same from the journal");
}

}  // namespace
}  // namespace torpor::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto sentence = torpor::daemon::parse_sentence(text, torpor::fuzz::vienna());
  if (sentence) {
    torpor::fuzz::check_sentence(*sentence);
  } else {
    torpor::fuzz::require_message(sentence.error().text, 4000);
  }
  // The journal's own reader meets whatever a disk gives back.
  const auto act = torpor::daemon::act_from_json(text);
  if (!act) torpor::fuzz::require_message(act.error(), 4000);
  return 0;
}

// Remedies with amounts: what a keeper can do about one alert, worked out from the jar that wakes
// first, the air here, elsewhere and outside, and the room. Pure. Where a figure cannot be known
// the remedy is said without it; one that would be of no use is left out.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "rules/culture/jar_model.h"
#include "rules/standing/standing.h"
#include "rules/watch/lately_air.h"
#include "rules/watch/local_hours.h"
#include "rules/watch/watch.h"

namespace torpor::rules {

struct AirElsewhere {
  std::string place;
  LatelyAir::Air air;  // of the last days
  std::optional<LatelyAir::Air> now = std::nullopt;
  friend bool operator==(const AirElsewhere&, const AirElsewhere&) = default;
};

// Where no jar stands: somebody else's weather, or a room that is being tried out.
enum class EmptyPlace { no, on_trial, of_no_concern };

struct AdviceScene {
  explicit AdviceScene(const UtcOffset& local) : offset(local) {}  // outlives this
  SubjectKind kind = SubjectKind::place;
  std::vector<std::string> jars;             // that the alert lists, the first to wake first
  const culture::JarModel* model = nullptr;  // the first one's; nullptr: it knows nothing
  std::vector<std::string> gas_tight;        // of the jars, those whose cover holds gas back
  bool covers_known = false;
  bool about_heat = false;  // the rule asks how warm it is: warmth decides where jars are carried
  std::optional<Spoilage> spoilage;  // of the jar, where the alert is about one
  EmptyPlace empty = EmptyPlace::no;
  std::optional<LatelyAir::Air> here;  // of the last days
  std::optional<LatelyAir::Air> here_now, outside_now;
  const LatelyAir* outside_lately = nullptr;  // nullptr: nobody speaks for the air outside
  std::vector<AirElsewhere> elsewhere;  // other places under a roof, each with an air of its own
  std::optional<double> room_m3;
  Instant now;
  const UtcOffset& offset;
};

// In the order given; what cannot help comes last, or not at all, but never nothing where jars
// stand. A spoiled jar is carried out and nothing else; of one under a tight lid the lid comes
// first.
[[nodiscard]] std::vector<Advice> advise(std::span<const Remedy> remedies,
                                         const AdviceScene& scene);

// "Jar B-07 wakes first: in about 7 weeks (range 3 weeks to 4 months)."; empty: not known, or out
// of sight.
[[nodiscard]] std::string outlook_words(const AdviceScene& scene);

}  // namespace torpor::rules

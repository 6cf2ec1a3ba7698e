#include "daemon/ledger/deed_answers.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/telling.h"
#include "daemon/ledger/vocabulary.h"
#include "rules/culture/words.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

// Less is the ruler, as for the model.
constexpr double kLevelRise = 5.0;  // mm
// Rice and sugar packed in a jar: about 1.3 g/ml.
constexpr double kPacked = 1.3;

const culture::Level* level_before(const Jar& jar, Instant at, Instant& when) {
  const culture::Level* last = nullptr;
  for (const JarEvent& event : jar.events) {
    const auto* seen = std::get_if<culture::Observation>(&event.what);
    if (event.at > at || seen == nullptr) continue;
    if (const auto* level = std::get_if<culture::Level>(seen)) {
      last = level;
      when = event.at;
    }
  }
  return last;
}

struct Understood {
  const Jar& jar;
  Instant at;
  const LocalTime& zone;

  std::string operator()(const culture::AddSugar& add) const {
    return fmt::format("{} {}sugar {}", grams_text(add.sugar),
                       add.kind ? fmt::format("{} ", sugar_kind_name(*add.kind)) : "",
                       add.stirred ? "stirred in" : "spread on top");
  }
  std::string operator()(const TakeOut& take) const {
    std::string text = fmt::format("{} taken", grams_text(take.contents));
    if (!take.purpose.empty()) text += fmt::format(" for \"{}\"", harmless(take.purpose));
    if (const auto left = contents_at(jar, at)) {
      const double rest = std::max(0.0, left->value() - take.contents.value());
      text += fmt::format(", {} left", culture::gram_words(rest));
    }
    return text;
  }
  std::string operator()(const culture::Open&) const { return "opened"; }
  std::string operator()(const culture::ChangeCover& change) const {
    const auto before = cover_at(jar, at);
    return fmt::format("covered with {}{}", cover_name(change.cover),
                       before && *before != change.cover
                           ? fmt::format(" instead of {}", cover_name(*before))
                           : "");
  }
  std::string operator()(const RetireJar& retire) const {
    return fmt::format("retired because \"{}\"; its history stays and its id is not used again",
                       harmless(retire.because));
  }
  std::string operator()(const culture::Look& look) const { return sign_names(look.signs); }
  std::string operator()(const culture::Weighing& weighing) const {
    std::string text = grams_text(weighing.weight);
    double net = weighing.weight.value();
    if (weighing.with_vessel) {
      text += " with the vessel";
      if (!jar.made.empty) {
        return text + "; the empty weight is not known, so later weights count from this one";
      }
      net -= jar.made.empty->value();
      text += fmt::format(", so {} of contents", grams_text(Grams(net)));
    } else {
      text += " of contents";
    }
    if (const auto expected = contents_at(jar, at)) {
      const double more = net - expected->value();
      text += std::abs(more) < 1.0
                  ? ", as reckoned from what was told"
                  : fmt::format(", {} {} than reckoned from what was told",
                                grams_text(Grams(std::abs(more))), more > 0 ? "more" : "less");
    }
    return text;
  }
  std::string operator()(const culture::Level& level) const {
    std::string text = fmt::format("level {}", length_text(level.millimetres));
    Instant when{};
    const culture::Level* before = level_before(jar, at, when);
    if (before == nullptr) return text;
    const double rise = level.millimetres - before->millimetres;
    if (std::abs(rise) < kLevelRise) return text + ", as before";
    return fmt::format("{}, {} {} than on {}", text, length_text(std::abs(rise)),
                       rise > 0 ? "higher" : "lower", zone.to_words(when));
  }
  std::string operator()(const culture::Headspace& headspace) const {
    return fmt::format("air under the cover {} % humid",
                       shown_number(headspace.humidity.value(), 0));
  }
  std::string operator()(const culture::WakeTest& test) const {
    return test.lively ? "wake test lively: what is in it is alive"
                       : "wake test quiet: it may be dead, or slow";
  }
};

// "About 9 cm of air are above it now", by vessel and mouth as a straight cylinder.
std::string headspace_text(const Jar& jar, Instant at) {
  const auto left = contents_at(jar, at);
  if (!left || !jar.made.volume_ml) return "";
  const double filled = std::clamp(left->value() / kPacked / *jar.made.volume_ml, 0.0, 1.0);
  return fmt::format(" About {:.0f} % of the vessel is air now; a smaller one keeps it drier.",
                     100.0 * (1.0 - filled));
}

std::string after_taking(const Jar& jar, Instant at) {
  const double topping = culture::topping_for(jar.made.mouth_mm).value();
  const std::string mouth = jar.made.mouth_mm
                                ? fmt::format("for a mouth of {}", length_text(*jar.made.mouth_mm))
                                : std::string("for a usual mouth of 9 cm");
  const Cover cover = cover_at(jar, at).value_or(Cover::paper);
  return fmt::format(
      "To keep the rest asleep: only a dry clean spoon, level the top, wipe the rim dry, spread "
      "about {:.0f} g of sugar on top ({}), tie on a fresh dry cover ({}) and tell both.{}",
      topping, mouth, cover_name(cover), headspace_text(jar, at));
}

bool holds_gas(const Jar& jar, Instant at) {
  const auto cover = cover_at(jar, at);
  return cover && !culture::facts(*cover).vents_gas;
}

constexpr std::string_view kGasCaution =
    "Caution: a working jar under a tight cover can burst; a cloth over it, face and eyes away, "
    "ease "
    "it slowly and leave gas a way out.";

// Common practice, no source, but for frost: syrup of two parts sugar to one of water freezes only
// well below -10 °C, so a jar comes to no harm; what it draws when it warms open is dew.
struct SignAdvice {
  culture::Sign sign;
  std::string_view words;
};
constexpr SignAdvice kSignAdvice[] = {
    {culture::Sign::insects,
     "Ants: set the shelf's or the jar's feet in water or oil, and wipe spilt sugar away. Flies: "
     "tie on a fresh, closely woven cover and wipe the rim. If you find maggots, tell that: then "
     "it is not for use."},
    {culture::Sign::frozen,
     "Frost does it no harm. Let it come to the room's warmth under its cover, or it sweats; look "
     "for cracks in the glass before you lift it."},
    {culture::Sign::cracked,
     "Do not lift it by the neck, and use nothing that may have glass in it."},
    {culture::Sign::leaking,
     "Stand it in a tray, away from other jars, and wipe the rim and the shelf: syrup draws ants "
     "and flies. If it was filled more than two thirds, take some out."},
    {culture::Sign::alcohol_smell,
     "After settling, a smell of alcohol says that yeasts work: use it within days, or feed it "
     "with sugar."},
    {culture::Sign::sour_smell,
     "After settling, a sour smell says that bacteria work: use it within days, or feed it with "
     "sugar."},
    {culture::Sign::rising,
     "It rises on gas: keep a hand's breadth of air above it, and a cover that lets gas out."},
};

void add_thin_advice(const culture::Look& look, std::vector<std::string>& sentences) {
  for (const SignAdvice& row : kSignAdvice) {
    const bool told = std::find(look.signs.begin(), look.signs.end(), row.sign) != look.signs.end();
    if (told) sentences.emplace_back(row.words);
  }
}

void advise(const Jar& jar, const culture::Look& look, Instant at,
            std::vector<std::string>& sentences) {
  using culture::Sign;
  const auto told = [&](Sign sign) {
    return std::find(look.signs.begin(), look.signs.end(), sign) != look.signs.end();
  };
  const bool gas =
      told(Sign::pressure) || told(Sign::bubbling) || told(Sign::rising) || told(Sign::leaking);
  if (told(Sign::pressure) || (gas && holds_gas(jar, at))) {
    sentences.emplace_back(kGasCaution);
  }
  if (told(Sign::white_growth)) {
    sentences.emplace_back(
        "White growth may be the culture or a mould: keep it apart, look again in a day, and keep "
        "it from food if it turns coloured.");
  }
  if (told(Sign::drops_under_lid)) {
    sentences.emplace_back(
        "Drops fall back on the sugar: dry the lid, or let the jar cool slowly.");
  }
  add_thin_advice(look, sentences);
}

void advise(const Jar& jar, const culture::Open&, Instant at, std::vector<std::string>& sentences) {
  if (holds_gas(jar, at)) sentences.emplace_back(kGasCaution);
  sentences.emplace_back("Close it soon, with dry hands and a dry rim.");
}

void advise(const Jar& jar, const TakeOut&, Instant at, std::vector<std::string>& sentences) {
  sentences.push_back(after_taking(jar, at));
}

void advise(const Jar&, const culture::WakeTest& test, Instant,
            std::vector<std::string>& sentences) {
  if (test.lively) return;
  sentences.emplace_back(
      "Test another spoonful in warm sugar water for two days before you count on it or discard "
      "it.");
}

// What sugar and covers call for goes first: mixing_answers.h.
void advise(const Jar&, const culture::AddSugar&, Instant, std::vector<std::string>&) {}
void advise(const Jar&, const culture::ChangeCover&, Instant, std::vector<std::string>&) {}
void advise(const Jar&, const culture::Level&, Instant, std::vector<std::string>&) {}
void advise(const Jar&, const culture::Weighing&, Instant, std::vector<std::string>&) {}
void advise(const Jar&, const culture::Headspace&, Instant, std::vector<std::string>&) {}
void advise(const Jar&, const RetireJar&, Instant, std::vector<std::string>&) {}

}  // namespace

std::string understood_text(const Jar& jar, const Deed& deed, Instant at, const LocalTime& zone) {
  return std::visit(Understood{jar, at, zone}, deed);
}

std::string followed_by(std::string answer, const std::string& sentences) {
  if (sentences.empty()) return answer;
  if (!answer.empty() && answer.back() != '.') answer += '.';
  return answer + sentences;
}

std::string standings_text(const std::vector<std::string>& jars, const LedgerView& view) {
  constexpr std::size_t kMostInFull = 2, kMostBrief = 40;
  std::string text, brief;
  std::size_t told = 0;
  for (const std::string& jar : jars) {
    const auto standing = view.standing(jar);
    if (!standing) continue;
    if (jars.size() <= kMostInFull) {
      text += " " + rules::standing_line(*standing);
    } else {
      if (++told > kMostBrief) continue;
      brief += fmt::format("{}{} {}", told == 1 ? "" : "; ", jar, rules::standing_brief(*standing));
    }
  }
  if (told > kMostBrief) brief += fmt::format("; and {} more", told - kMostBrief);
  if (!brief.empty()) text += fmt::format(" Now: {}.", brief);
  return text;
}

std::string revised_text(const std::vector<RevisedJar>& revised, const LedgerView& view,
                         bool worked_out) {
  constexpr std::size_t kMostTold = 4;  // in one line
  std::string text;
  for (std::size_t i = 0; i < std::min(revised.size(), kMostTold); ++i) {
    const auto& [jar, was] = revised[i];
    const auto standing = worked_out ? view.standing(jar) : std::nullopt;
    const std::string before = was.empty() ? "" : fmt::format(" (before: {})", was);
    if (!worked_out) {
      text += fmt::format(" {} is being worked out anew{}; `ask {}` says how it is then.", jar,
                          before, jar);
    } else if (standing) {
      const std::string line = rules::standing_line(*standing);
      text += fmt::format(" {}{}", line, rules::standing_brief(*standing) == was ? "" : before);
    }
  }
  if (revised.size() > kMostTold) {
    text += fmt::format(" {} more jars are worked out anew; `ask jars` names them.",
                        revised.size() - kMostTold);
  }
  return text;
}

std::vector<std::string> advice(const Jar& jar, const Deed& deed, Instant at) {
  std::vector<std::string> sentences;
  std::visit([&](const auto& one) { advise(jar, one, at, sentences); }, deed);
  return sentences;
}

std::string deed_fault_text(DeedFault fault, const Jar& jar, Instant at, const LocalTime& zone) {
  switch (fault) {
    case DeedFault::retired:
      return fmt::format(
          "{} was retired on {}; if that was a mistake, withdraw that entry (`torpor jar {}` "
          "lists it)",
          jar.made.jar, date_of(*jar.retired_at, zone), jar.made.jar);
    case DeedFault::before_the_jar:
      return fmt::format("{} is in the ledger only from {} on, and this is told of {}",
                         jar.made.jar, zone.to_text(std::min(jar.closed(), jar.stays.front().from)),
                         zone.to_text(at));
    case DeedFault::moved_later:
      return fmt::format("{} was moved to {} on {}, after that; which is right?", jar.made.jar,
                         harmless(jar.stays.back().place), zone.to_text(jar.stays.back().from));
  }
  return "";
}

}  // namespace torpor::daemon

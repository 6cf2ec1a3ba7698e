#include "rules/standing/standing.h"

#include <algorithm>
#include <array>
#include <tuple>

#include <fmt/format.h>

#include "rules/culture/words.h"

namespace torpor::rules {
namespace {

using culture::State;
using culture::WakeTime;

constexpr std::array<std::string_view, 4> kUses{"yes", "look first", "wake test first", "no"};

Use use_by_state(const culture::Verdict& verdict) {
  switch (verdict.state) {
    case State::dormant:
      // At worst it works already: a look costs a minute.
      return verdict.time_to_wake[culture::kCautious].kind == WakeTime::Kind::due ? Use::look_first
                                                                                  : Use::yes;
    case State::waking:
    case State::due:
    case State::awake:
    case State::unwatched:
      return Use::look_first;
    case State::doubtful:
      return Use::wake_test_first;
    case State::settling:
    case State::retired:
      break;
  }
  return Use::no;
}

Use use_of(const StandingScene& scene) {
  if (scene.spoilage) return Use::no;
  // A vessel that may have left glass in it.
  if (scene.verdict->figures.cracked) return Use::no;
  Use use = use_by_state(*scene.verdict);
  if (scene.recomputing) use = std::max(use, Use::look_first);
  for (const StandingAlert& alert : scene.alerts) {
    if (alert.of_jar && alert.urgency != Urgency::this_week) use = std::max(use, Use::look_first);
  }
  return use;
}

std::string asleep_words(const culture::Verdict& verdict) {
  const WakeTime& likely = verdict.time_to_wake[culture::kLikely];
  switch (likely.kind) {
    case WakeTime::Kind::within:
      return fmt::format("It sleeps; in the air it has had it wakes in {}.",
                         culture::round_words(likely.hours));
    case WakeTime::Kind::beyond:
      return "It sleeps, and no waking is in sight.";
    case WakeTime::Kind::due:
    case WakeTime::Kind::unknown:
      break;
  }
  return "It sleeps.";
}

std::string why_by_state(const culture::Verdict& verdict) {
  if (verdict.state == State::dormant) return asleep_words(verdict);
  return verdict.reasons.empty() ? fmt::format("It is {}.", culture::state_name(verdict.state))
                                 : verdict.reasons.front();
}

std::optional<NextDate> next_date_of(const StandingScene& scene) {
  const culture::Verdict& verdict = *scene.verdict;
  const auto in_days = [&](double days) {
    return scene.as_of + std::chrono::duration_cast<Duration>(
                             std::chrono::duration<double, std::ratio<86400>>(days));
  };
  if (scene.spoilage || verdict.state == State::retired || verdict.state == State::awake ||
      verdict.state == State::due) {
    return std::nullopt;
  }
  if (verdict.figures.settled_in_days) {
    return NextDate{in_days(*verdict.figures.settled_in_days), "it has settled"};
  }
  const WakeTime& likely = verdict.time_to_wake[culture::kLikely];
  if (likely.kind == WakeTime::Kind::within) {
    return NextDate{in_days(likely.hours / 24.0), "it wakes, if its air stays as it was"};
  }
  if (verdict.figures.test_due_in_days) {
    return NextDate{in_days(*verdict.figures.test_due_in_days), "it wants a wake test before use"};
  }
  return std::nullopt;
}

// Without an alert to say what is to be done.
void take_state(Standing& standing, const StandingScene& scene) {
  std::vector<Advice> deeds;
  const bool asks = scene.verdict->state != State::settling;
  if (scene.verdict->figures.cracked) {
    deeds.push_back(cracked_deed(scene.jar));
    standing.urgency = Urgency::today;
    standing.why = "It was found cracked.";
  }
  if (asks && standing.use == Use::wake_test_first) deeds.push_back(wake_test_deed(scene.jar));
  if (asks && standing.use == Use::look_first) deeds.push_back(look_deed(scene.jar));
  if (scene.gas_tight) {
    heed_lid(deeds, scene.jar, may_make_gas(*scene.verdict));
    if (may_make_gas(*scene.verdict)) standing.urgency = Urgency::today;
  }
  if (!deeds.empty()) standing.deed = deeds.front();
  if (deeds.size() > 1) standing.next = deeds[1];
}

void add_once(std::vector<std::string>& reasons, const std::string& why, const std::string& more) {
  const bool known = more.empty() || more == why ||
                     std::find(reasons.begin(), reasons.end(), more) != reasons.end();
  if (!known) reasons.push_back(more);
}

std::string reason_words(const StandingAlert& alert) {
  return alert.of_jar || alert.place.empty() ? alert.reason
                                             : fmt::format("{}: {}", alert.place, alert.reason);
}

void take_deeds(Standing& standing, const std::vector<const StandingAlert*>& alerts) {
  for (const StandingAlert* alert : alerts) {
    for (const Advice& deed : alert->deeds) {
      if (!standing.deed) {
        standing.deed = deed;
        standing.urgency = alert->urgency;
        standing.alert = alert->number;
        standing.why = reason_words(*alert);
      } else if (!standing.next && deed.remedy != standing.deed->remedy) {
        standing.next = deed;
      }
    }
  }
}

void take_spoilage(Standing& standing, const StandingScene& scene,
                   const std::vector<const StandingAlert*>& alerts) {
  const bool gas = scene.gas_tight;
  std::vector<Advice> deeds = spoiled_deeds(scene.jar, gas, *scene.spoilage);
  standing.deed = std::move(deeds.front());
  if (deeds.size() > 1) standing.next = std::move(deeds[1]);
  standing.urgency = gas ? Urgency::now : Urgency::today;
  standing.why = spoilage_words(*scene.spoilage, scene.jar);
  for (const StandingAlert* alert : alerts) {
    if (!alert->of_jar) continue;
    standing.alert = alert->number;
    standing.urgency = alert->urgency;
    return;
  }
}

int rank_of(Remedy remedy) {
  switch (remedy) {
    case Remedy::ease_lid:
      return 0;
    case Remedy::carry_out:
      return 1;
    default:
      break;
  }
  return 2;
}

auto order_of(const StandingAlert& alert) {
  const int rank = alert.deeds.empty() ? 3 : rank_of(alert.deeds.front().remedy);
  return std::tuple(alert.put_off, alert.urgency, rank, !alert.of_jar, alert.number);
}

std::string capital(std::string_view words) {
  std::string text(words);
  if (!text.empty() && text.front() >= 'a' && text.front() <= 'z') {
    text.front() = static_cast<char>(text.front() - 'a' + 'A');
  }
  return text;
}

}  // namespace

std::string_view use_name(Use use) { return kUses[static_cast<std::size_t>(use)]; }

std::optional<Use> use_named(std::string_view name) {
  const auto found = std::find(kUses.begin(), kUses.end(), name);
  if (found == kUses.end()) return std::nullopt;
  return static_cast<Use>(found - kUses.begin());
}

std::string_view urgency_words(Urgency urgency) {
  switch (urgency) {
    case Urgency::now:
      return "Now";
    case Urgency::today:
      return "Today";
    case Urgency::this_week:
      break;
  }
  return "This week";
}

std::string spoilage_words(const Spoilage& spoilage, std::string_view jar) {
  const std::string sign = capital(culture::facts(spoilage.sign).name);
  const std::string_view were = spoilage.sign == culture::Sign::larvae ? "were" : "was";
  if (spoilage.jar == jar) {
    return fmt::format("{} {} found in it (entry {}).", sign, were, spoilage.entry);
  }
  return fmt::format("{} {} found in {}, which it comes from (entry {}).", sign, were, spoilage.jar,
                     spoilage.entry);
}

bool leads(const StandingAlert& a, const StandingAlert& b) { return order_of(a) < order_of(b); }

// Common practice, no source.
std::vector<Advice> spoiled_deeds(std::string_view jar, bool gas_under_lid,
                                  const Spoilage& spoilage) {
  std::vector<Advice> deeds;
  if (gas_under_lid) deeds.push_back(ease_lid_deed(jar));
  const bool dusty =
      spoilage.sign != culture::Sign::rotten_smell && spoilage.sign != culture::Sign::larvae;
  deeds.push_back(
      {Remedy::carry_out,
       fmt::format("Keep {} from food, close it, carry it out and wash your hands.{} Then tell "
                   "`retire {} because \"spoiled\"`.",
                   jar, dusty ? " Do not sniff or scrape it: its dust harms the lungs." : "", jar),
       {}});
  return deeds;
}

Advice ease_lid_deed(std::string_view jar) {
  return {Remedy::ease_lid,
          fmt::format("Ease the lid of {} slowly, a cloth over it, face and eyes away: it can "
                      "burst. Then tell `cover {} with paper`.",
                      jar, jar),
          {}};
}

bool may_make_gas(const culture::Verdict& verdict) {
  switch (verdict.state) {
    case State::settling:
    case State::waking:
    case State::due:
    case State::awake:
      return true;
    default:
      break;
  }
  return verdict.figures.waking_signs > 0;
}

void heed_lid(std::vector<Advice>& deeds, std::string_view jar, bool may_make_gas) {
  if (may_make_gas) {
    std::erase_if(deeds, [](const Advice& deed) { return deed.remedy == Remedy::ease_lid; });
    deeds.insert(deeds.begin(), ease_lid_deed(jar));
    return;
  }
  for (Advice& deed : deeds) {
    switch (deed.remedy) {
      case Remedy::add_sugar:
      case Remedy::renew_cover:
      case Remedy::look:
      case Remedy::wake_test:
      case Remedy::use_first:
        deed.words +=
            " Its lid is tight: first ease it slowly, a cloth over it, face and eyes away.";
        break;
      default:
        break;
    }
  }
}

// Common practice, no source.
Advice cracked_deed(std::string_view jar) {
  return {
      Remedy::renew_vessel,
      fmt::format("Put on gloves and glasses, stand {} in a tray, and put what is surely free "
                  "of glass into a whole dry vessel. Then tell `retire {} because \"cracked\"`.",
                  jar, jar),
      {}};
}

Advice look_deed(std::string_view jar) {
  return {Remedy::look,
          fmt::format("Look at {} and smell it; never taste, it is not food. Then tell `{} all "
                      "well`, or what you found.",
                      jar, jar),
          {}};
}

Advice wake_test_deed(std::string_view jar) {
  return {Remedy::wake_test,
          fmt::format("Test a spoonful of {} in warm sugar water for two days before you use it. "
                      "Then tell `wake test {} lively` or `wake test {} quiet`.",
                      jar, jar, jar),
          {}};
}

Standing standing_of(const StandingScene& scene) {
  Standing standing;
  standing.jar = scene.jar;
  standing.place = scene.place;
  standing.as_of = scene.as_of;
  standing.state = scene.verdict->state;
  standing.use = use_of(scene);
  standing.time_to_wake = scene.verdict->time_to_wake;
  standing.coverage_percent = scene.verdict->figures.coverage_percent;
  standing.recomputing = scene.recomputing;
  standing.next_date = next_date_of(scene);
  if (standing.state == State::retired) {
    standing.why = scene.spoilage ? spoilage_words(*scene.spoilage, scene.jar) : "It was retired.";
    return standing;
  }
  std::vector<const StandingAlert*> alerts;
  for (const StandingAlert& alert : scene.alerts) alerts.push_back(&alert);
  std::sort(alerts.begin(), alerts.end(),
            [](const StandingAlert* a, const StandingAlert* b) { return leads(*a, *b); });
  if (scene.spoilage) {
    take_spoilage(standing, scene, alerts);
  } else {
    take_deeds(standing, alerts);
    if (!standing.deed) {
      standing.why = why_by_state(*scene.verdict);
      take_state(standing, scene);
      if (use_by_state(*scene.verdict) == Use::look_first && standing.state == State::dormant) {
        standing.why = "It sleeps, most likely; at worst it is waking already.";
      }
      if (standing.state == State::awake) standing.urgency = Urgency::today;
    }
  }
  if (scene.recomputing) {
    add_once(standing.reasons, standing.why,
             "It is being worked out anew from its history; that may change what is said here.");
  }
  for (const StandingAlert* alert : alerts) {
    add_once(standing.reasons, standing.why, reason_words(*alert));
  }
  for (const std::string& reason : scene.verdict->reasons) {
    add_once(standing.reasons, standing.why, reason);
  }
  return standing;
}

std::string standing_brief(const Standing& standing) {
  return fmt::format("{}, use: {}", culture::state_name(standing.state), use_name(standing.use));
}

std::string standing_line(const Standing& standing) {
  std::string line = fmt::format("{}{}: {}.", standing.jar,
                                 standing.place.empty() ? "" : fmt::format(" ({})", standing.place),
                                 standing_brief(standing));
  if (standing.deed) {
    line += standing.urgency
                ? fmt::format(" {}: {}", urgency_words(*standing.urgency), standing.deed->words)
                : " " + standing.deed->words;
  } else if (standing.state != State::retired) {
    line += " Nothing to do.";
  }
  if (!standing.why.empty()) line += " " + standing.why;
  return line;
}

}  // namespace torpor::rules

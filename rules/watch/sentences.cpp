#include "rules/watch/sentences.h"

#include <algorithm>
#include <cmath>

#include <fmt/core.h>
#include <fmt/ranges.h>

#include "sensors/shown_number.h"

namespace torpor::rules {
namespace {

// One comparison of a rule, where it stands in it.
struct Mention {
  const Clause* clause = nullptr;
  bool negated = false;
  std::optional<Duration> lasting;  // the nearest one around it
};

void gather(const Condition& condition, Mention around, std::vector<Mention>& mentions) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    around.clause = clause;
    mentions.push_back(around);
  } else if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    for (const Condition& part : all->parts) gather(part, around, mentions);
  } else if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    for (const Condition& part : any->parts) gather(part, around, mentions);
  } else if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    around.negated = !around.negated;
    gather(negation->of, around, mentions);
  } else {
    const auto& lasting = std::get<Lasting>(condition->what);
    around.lasting = lasting.length;
    gather(lasting.of, around, mentions);
  }
}

std::vector<Mention> mentions_of(const Rule& rule) {
  std::vector<Mention> mentions;
  gather(rule.when, {}, mentions);
  return mentions;
}

Signal signal_of(const Clause& clause, const ReadSignal& read) {
  const Signal signal = read(clause.of.term);
  if (!clause.of.minus) return signal;
  return difference(signal, read(*clause.of.minus));
}

std::optional<double> value_at(const Signal& signal, Instant now) {
  if (signal.ramps) return std::chrono::duration<double>(now - signal.origin).count();
  if (std::isnan(signal.value)) return std::nullopt;
  return signal.value;
}

std::string value_text(std::optional<double> value, Dimension dimension) {
  if (!value) return "unknown";
  const auto symbol = canonical_symbol(dimension);
  switch (dimension) {
    case Dimension::duration:
      return round_duration(std::chrono::round<Duration>(std::chrono::duration<double>(*value)));
    case Dimension::number:
      // A count reads as one, an activity with the digits that tell asleep from awake.
      return shown_number(*value, *value == std::floor(*value) && *value != 0.0 ? 0 : 3);
    case Dimension::percent:
    case Dimension::pressure:
    case Dimension::mass:
    case Dimension::volume:
      return fmt::format("{} {}", shown_number(*value, 0), symbol);
    default:
      break;
  }
  return fmt::format("{} {}", shown_number(*value, 1), symbol);
}

// While the alert stands: whether the comparison helps to make the rule true. Once it has eased:
// whether it is one of those that no longer do.
bool supports(const Mention& mention, AlertState state, const ReadSignal& read, Instant now) {
  const Truth truth = truth_of(flat_clause(*mention.clause), signal_of(*mention.clause, read), now);
  const bool holds = state == AlertState::standing;
  return truth == (mention.negated == holds ? Truth::no : Truth::yes);
}

// `holds`: the comparison is one of those that hold now.
std::string phrase(const Mention& mention, bool holds, const Scene& scene, const ReadSignal& read) {
  const Clause& clause = *mention.clause;
  const auto value = value_at(signal_of(clause, read), scene.now);
  const std::string limit = (mention.negated ? "not " : "") + limit_text(clause);
  std::string text =
      fmt::format("{} {}", to_text(clause.of), value_text(value, clause.of.dimension));
  if (!value && scene.state == AlertState::standing) return text + ", last " + limit;
  if (!holds || scene.state != AlertState::standing) return text + ", no longer " + limit;
  text += ", " + limit;
  if (mention.lasting) text += " for over " + duration_text(*mention.lasting);
  return text;
}

// "time since reading 2 h, above 2 h" is not how a person says it: some quantities have words of
// their own, of how long something has been so. Empty: not this one.
std::string words_of(RuleQuantity quantity, bool stands, const std::string& how_long,
                     const std::string& since) {
  switch (quantity) {
    case RuleQuantity::time_since_reading:
      if (!stands) return "speaks again";
      return since.empty() ? "no reading" : "no reading since " + since;
    case RuleQuantity::time_since_broker:
      if (!stands) return "the broker is in reach again";
      return since.empty() ? "the broker is out of reach"
                           : "the broker is out of reach since " + since;
    case RuleQuantity::age:
      return "closed " + how_long + " ago";
    case RuleQuantity::time_since_look:
      return stands ? "nobody has told how it looks for " + how_long : "looked at";
    case RuleQuantity::waking_signs:
      return stands ? "it shows signs of waking" : "no sign of waking is left";
    case RuleQuantity::spoiled:
      return stands ? "it is spoiled" : "nothing that spoils it counts any more";
    case RuleQuantity::gas_tight_lid:
      return stands ? "under a lid that holds gas" : "under a cover that lets gas out";
    default:
      return {};
  }
}

std::optional<std::string> own_words(const Scene& scene, const Mention& mention,
                                     const ReadSignal& read) {
  const auto* quantity = std::get_if<QuantityAt>(&mention.clause->of.term);
  const bool upward = mention.clause->comparison != Comparison::below &&
                      mention.clause->comparison != Comparison::at_most;
  if (quantity == nullptr || !upward || mention.negated) return std::nullopt;
  const Signal signal = read(mention.clause->of.term);
  const std::string since =
      signal.ramps ? clock_text(signal.origin, scene.now, scene.offset) : std::string();
  const std::string how_long =
      signal.ramps ? round_duration(scene.now - signal.origin) : std::string("a while");
  std::string words =
      words_of(quantity->quantity, scene.state == AlertState::standing, how_long, since);
  return words.empty() ? std::nullopt : std::optional(std::move(words));
}

// ", 31.2 °C at its worst (24 Nov 14:10)" once it has passed.
std::string worst_words(const Scene& scene) {
  if (scene.alert == nullptr || scene.state == AlertState::standing) return {};
  const auto& worst = scene.alert->worst;
  if (!worst || !worst->value || !scene.alert->worst_at) return {};
  const Clause& first = *mentions_of(scene.rule).front().clause;
  return fmt::format("; at its worst {} ({})", value_text(worst->value, first.of.dimension),
                     clock_text(*scene.alert->worst_at, scene.now, scene.offset));
}

std::string subject_text(const Scene& scene) {
  const std::string& id = scene.subject.id;
  switch (scene.subject.kind) {
    case SubjectKind::place:
      return id;
    case SubjectKind::jar:
      return scene.place.empty() ? "Jar " + id : fmt::format("Jar {} in {}", id, scene.place);
    case SubjectKind::sensor:
      return scene.place.empty() ? "Sensor " + id : fmt::format("Sensor {} at {}", id, scene.place);
    case SubjectKind::service:
      break;
  }
  return "The service";
}

std::string jars_text(const Alert& alert, std::size_t most) {
  if (alert.jars.empty() || alert.subject.kind == SubjectKind::jar) return {};
  if (most == 0) {
    return fmt::format(" {} jar{}.", alert.jars.size(), alert.jars.size() == 1 ? "" : "s");
  }
  return fmt::format(" Jar{} {}.", alert.jars.size() == 1 ? "" : "s", listed(alert.jars, most));
}

}  // namespace

std::string listed(const std::vector<std::string>& ids, std::size_t most) {
  const std::size_t shown = std::min(ids.size(), most);
  const auto end = ids.begin() + static_cast<std::ptrdiff_t>(shown);
  std::string text = fmt::format("{}", fmt::join(ids.begin(), end, ", "));
  if (ids.size() > shown) text += fmt::format(" and {} more", ids.size() - shown);
  return text;
}

std::vector<Figure> figures_of(const Rule& rule, Instant now, const ReadSignal& read) {
  std::vector<Figure> figures;
  for (const Mention& mention : mentions_of(rule)) {
    const Clause& clause = *mention.clause;
    Figure figure{to_text(clause.of), value_at(signal_of(clause, read), now),
                  std::string(canonical_symbol(clause.of.dimension))};
    bool known = false;
    for (const Figure& other : figures) known = known || other.name == figure.name;
    if (!known) figures.push_back(std::move(figure));
  }
  return figures;
}

std::string what_sentence(const Scene& scene, const ReadSignal& read) {
  if (!scene.reason.empty()) return fmt::format("{}: {}.", subject_text(scene), scene.reason);
  const std::vector<Mention> mentions = mentions_of(scene.rule);
  std::vector<Mention> spoken;
  for (const Mention& mention : mentions) {
    if (supports(mention, scene.state, read, scene.now)) spoken.push_back(mention);
  }
  const bool holds = !spoken.empty();
  if (!holds) spoken = mentions;
  // What a rule rules out by `not` is a guard, no news.
  const auto is_guard = [](const Mention& mention) { return mention.negated; };
  if (!std::all_of(spoken.begin(), spoken.end(), is_guard)) std::erase_if(spoken, is_guard);
  std::vector<std::string> phrases;
  for (const Mention& mention : spoken) {
    const auto own = own_words(scene, mention, read);
    std::string said = own ? *own : phrase(mention, holds, scene, read);
    // Alternatives often name one quantity twice.
    const bool known = std::any_of(phrases.begin(), phrases.end(), [&](const std::string& other) {
      return other.compare(0, said.size(), said) == 0;
    });
    if (!known) phrases.push_back(std::move(said));
  }
  return fmt::format("{}: {}{}.", subject_text(scene), fmt::join(phrases, "; "),
                     worst_words(scene));
}

namespace {

Truth truth_now(const Condition& condition, Instant now, const ReadSignal& read) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    return truth_of(flat_clause(*clause), signal_of(*clause, read), now);
  }
  if (const auto* lasting = std::get_if<Lasting>(&condition->what)) {
    return truth_now(lasting->of, now, read);
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    const Truth of = truth_now(negation->of, now, read);
    return of == Truth::unknown ? of : of == Truth::yes ? Truth::no : Truth::yes;
  }
  const auto* all = std::get_if<AllOf>(&condition->what);
  const auto& parts = all != nullptr ? all->parts : std::get<AnyOf>(condition->what).parts;
  const Truth decides = all != nullptr ? Truth::no : Truth::yes;
  Truth result = all != nullptr ? Truth::yes : Truth::no;
  for (const Condition& part : parts) {
    const Truth truth = truth_now(part, now, read);
    if (truth == decides) return decides;
    if (truth == Truth::unknown) result = Truth::unknown;
  }
  return result;
}

}  // namespace

bool no_longer_holds(const Rule& rule, Instant now, const ReadSignal& read) {
  return truth_now(rule.when, now, read) == Truth::no;
}

std::optional<Figure> worst_of(const Rule& rule, const std::optional<Figure>& before,
                               const ReadSignal& read) {
  const Mention first = mentions_of(rule).front();
  const Expression& of = first.clause->of;
  const bool of_moments = std::holds_alternative<QuantityAt>(of.term) &&
                          (!of.minus || std::holds_alternative<QuantityAt>(*of.minus));
  if (!of_moments) return std::nullopt;
  const Signal signal = signal_of(*first.clause, read);
  if (signal.ramps || std::isnan(signal.value)) return std::nullopt;
  const bool downward = first.clause->comparison == Comparison::below ||
                        first.clause->comparison == Comparison::at_most;
  const bool lowest = downward != first.negated;
  if (before && before->value) {
    const bool further = lowest ? signal.value < *before->value : signal.value > *before->value;
    if (!further) return std::nullopt;
  }
  return Figure{to_text(first.clause->of), signal.value,
                std::string(canonical_symbol(first.clause->of.dimension))};
}

std::string flood_line(const std::vector<const Alert*>& alerts) {
  Urgency urgency = Urgency::this_week;
  for (const Alert* alert : alerts) urgency = std::min(urgency, alert->urgency);
  const std::string head = fmt::format(
      "{}: over 10 notices in 10 minutes, here {} in one: ", urgency_words(urgency), alerts.size());
  constexpr std::string_view kTail =
      " Often one cause: power, radio, a door. `torpor alerts` lists them.";
  std::string shown = alerts.front()->what;
  for (std::size_t i = 1; i <= alerts.size(); ++i) {
    const std::size_t more = alerts.size() - i;
    const std::string rest = more == 0 ? "" : fmt::format(" And {} more.", more);
    const bool fits = i < alerts.size() && head.size() + shown.size() + 1 + alerts[i]->what.size() +
                                                   rest.size() + kTail.size() <=
                                               kLongestNotice;
    if (!fits) return fmt::format("{}{}{}{}", head, shown, rest, kTail);
    shown += " " + alerts[i]->what;
  }
  return head + shown;
}

std::string notice_line(const Alert& alert, NoticeKind kind, Instant now, const UtcOffset& offset,
                        const std::vector<std::string>& likewise) {
  if (kind == NoticeKind::over) return fmt::format("Over: {}", alert.what);
  std::string head(urgency_words(alert.urgency));
  if (kind == NoticeKind::again) head += ", still";
  if (kind == NoticeKind::sooner) head += ", sooner than said";
  // A moment ago is no news; a notice that waited for the morning must say so.
  if (now - alert.since >= std::chrono::minutes(2)) {
    head += fmt::format(" (since {})", clock_text(alert.since, now, offset));
  }
  head += ": " + alert.what;
  if (!likewise.empty()) head += fmt::format(" Likewise {}.", listed(likewise, 4));
  std::string tail;
  if (!alert.remedies.empty()) tail = " " + alert.remedies.front().words;
  // The lid goes first, and what else is to be done is said all the same where there is room.
  const bool lid_first =
      alert.remedies.size() > 1 && alert.remedies.front().remedy == Remedy::ease_lid;
  if (lid_first &&
      head.size() + tail.size() + alert.remedies[1].words.size() + 1 <= kLongestNotice) {
    tail += " " + alert.remedies[1].words;
  }
  const std::string outlook = alert.outlook.empty() ? std::string() : " " + alert.outlook;
  // What is to be done goes before what will come of it, and both before the list of jars.
  for (const bool foresees : {true, false}) {
    for (const std::size_t most : {std::size_t{3}, std::size_t{0}}) {
      std::string line = head;
      line += jars_text(alert, most);
      if (foresees) line += outlook;
      line += tail;
      if (line.size() <= kLongestNotice) return line;
    }
  }
  return head + tail;
}

}  // namespace torpor::rules

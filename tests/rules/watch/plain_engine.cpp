#include "tests/rules/watch/plain_engine.h"

#include <algorithm>
#include <tuple>

#include "rules/air/psychrometrics.h"
#include "rules/book/ease.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

int whole_minutes(Duration d) {
  return static_cast<int>(std::chrono::floor<std::chrono::minutes>(d).count());
}

int minute_of(Instant t) { return whole_minutes(t - kMidnight); }

SubjectKind kind_of(Scope scope) {
  if (scope == Scope::place) return SubjectKind::place;
  if (scope == Scope::jar) return SubjectKind::jar;
  return scope == Scope::sensor ? SubjectKind::sensor : SubjectKind::service;
}

void gather_quantities(const Condition& condition, std::vector<QuantityAt>& found);

void gather_quantities(const Expression& of, std::vector<QuantityAt>& found) {
  for (const Term* term : {&of.term, of.minus ? &*of.minus : nullptr}) {
    if (term == nullptr) continue;
    if (const auto* window = std::get_if<Window>(term)) {
      if (window->of) gather_quantities(*window->of, found);
      if (window->with) gather_quantities(window->with, found);
    } else {
      found.push_back(std::get<QuantityAt>(*term));
    }
  }
}

void gather_quantities(const Condition& condition, std::vector<QuantityAt>& found) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    gather_quantities(clause->of, found);
  } else if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    for (const Condition& part : all->parts) gather_quantities(part, found);
  } else if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    for (const Condition& part : any->parts) gather_quantities(part, found);
  } else if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    gather_quantities(negation->of, found);
  } else {
    gather_quantities(std::get<Lasting>(condition->what).of, found);
  }
}

}  // namespace

PlainEngine::PlainEngine(WatchSettings settings)
    : settings_(std::move(settings)), late_(whole_minutes(settings_.late)) {
  for (const Rule& rule : settings_.book) {
    std::vector<std::string> ids;
    if (rule.concerns == Scope::service) ids = {""};
    for (const SensorSpec& sensor : settings_.layout.sensors) {
      if (rule.concerns == Scope::sensor) ids.push_back(sensor.id);
      if (rule.concerns == Scope::place && sensor.senses == Senses::air)
        ids.push_back(sensor.place);
    }
    for (const std::string& id : ids) {
      Instance instance;
      instance.rule = &rule;
      instance.ease = ease_of(rule);
      instance.subject = {kind_of(rule.concerns), id};
      instances_.emplace(key(instance), instance);
    }
  }
}

std::string PlainEngine::key(const Instance& instance) {
  return instance.rule->name + " " + instance.subject.id;
}

std::string PlainEngine::step(Instant wall, const Input& input) {
  text_.clear();
  concerned_.clear();
  const int target = minute_of(wall);
  if (!now_) {
    now_ = first_known_ = target;
    for (auto& [name, instance] : instances_) {
      if (instance.subject.kind == SubjectKind::sensor) changed(instance, target);
    }
  }
  for (int m = *now_ + 1; m < target; ++m) come_to(m, nullptr);
  now_ = std::max(*now_, target);
  if (const auto* readings = std::get_if<ReadingsInput>(&input)) {
    std::vector<Reading> ordered = readings->readings;
    std::stable_sort(ordered.begin(), ordered.end(), [](const Reading& a, const Reading& b) {
      return a.measured_at < b.measured_at;
    });
    for (const Reading& reading : ordered) take(reading);
  } else if (const auto* placed = std::get_if<JarPlacedInput>(&input)) {
    take(*placed);
  } else if (const auto* retired = std::get_if<JarRetiredInput>(&input)) {
    const auto jar = jars_.find(retired->jar);
    if (jar != jars_.end() && !jar->second.retired) jar->second.retired_at = minute_of(retired->at);
  } else if (const auto* link = std::get_if<LinkInput>(&input)) {
    if (link_.empty() || link_.back().second != link->connected) {
      link_.emplace_back(*now_, link->connected);
      for (auto& [name, instance] : instances_) {
        if (instance.subject.kind == SubjectKind::service) changed(instance, *now_);
      }
    }
  }
  jars_at_their_time();
  const std::set<std::string> first = concerned_;
  come_to(*now_, &first);
  come_to(*now_, nullptr);
  return text_;
}

void PlainEngine::take(const Reading& reading) {
  const auto& sensors = settings_.layout.sensors;
  const auto found = std::find_if(sensors.begin(), sensors.end(),
                                  [&](const auto& each) { return each.id == reading.sensor; });
  const Said said{minute_of(reading.measured_at), static_cast<std::size_t>(found - sensors.begin()),
                  reading.quantity, reading.value(), reading.trusted()};
  for (const Said& other : said_) {
    if (std::tie(other.at, other.sensor, other.quantity) ==
        std::tie(said.at, said.sensor, said.quantity)) {
      return;
    }
  }
  said_.push_back(said);
  for (auto& [name, instance] : instances_) {
    if (instance.subject == Subject{SubjectKind::sensor, reading.sensor}) {
      changed(instance, said.at);
    }
  }
  if (!said.trusted) return;
  std::set<Speakers> airs;
  std::set<std::string> places;
  for (const auto& place : settings_.layout.places) places.insert(place.path);
  for (const std::string& place : places) {
    const Speakers speakers = speakers_for(settings_.layout, place);
    if (std::count(speakers.begin(), speakers.end(), said.sensor) > 0) airs.insert(speakers);
  }
  for (const Speakers& air : airs) {
    std::vector<Said>& own = accepted_[air];
    int newest = said.at;
    for (const Said& each : own) newest = std::max(newest, each.at);
    if (said.at < newest - late_) continue;
    own.push_back(said);
    for (auto& [name, instance] : instances_) {
      std::vector<QuantityAt> quantities;
      gather_quantities(instance.rule->when, quantities);
      gather_quantities(instance.ease, quantities);
      const bool is_place = instance.subject.kind == SubjectKind::place;
      bool concerns = is_place && speakers_for(settings_.layout, instance.subject.id) == air;
      for (const QuantityAt& each : quantities) {
        concerns =
            concerns || (!each.place.empty() && speakers_for(settings_.layout, each.place) == air);
      }
      if (instance.subject.kind == SubjectKind::jar) {
        jar_feels(instance, air, said.at);
        const int start = jars_.at(instance.subject.id).stays.front().from;
        if (concerns && start <= *now_) changed(instance, std::max(said.at, start));
      } else if (concerns) {
        changed(instance, said.at);
      }
    }
  }
}

void PlainEngine::jar_feels(Instance& instance, const Speakers& air, int at) {
  const Jar& jar = jars_.at(instance.subject.id);
  if (jar.retired) return;
  for (std::size_t i = 0; i < jar.stays.size(); ++i) {
    const bool ended = i + 1 < jar.stays.size() && jar.stays[i + 1].from <= at;
    if (ended || jar.stays[i].from > *now_) continue;
    if (speakers_for(settings_.layout, jar.stays[i].place) != air) continue;
    changed(instance, std::max(at, jar.stays[i].from));
  }
}

void PlainEngine::take(const JarPlacedInput& input) {
  int from = minute_of(input.at);
  const auto air = accepted_.find(speakers_for(settings_.layout, input.place));
  if (air != accepted_.end()) {
    for (const Said& each : air->second) from = std::max(from, each.at - late_);
  }
  Jar& jar = jars_[input.jar];
  if (jar.retired || jar.stays.empty()) {
    for (const Rule& rule : settings_.book) {
      if (rule.concerns != Scope::jar) continue;
      Instance instance;
      instance.rule = &rule;
      instance.ease = ease_of(rule);
      instance.subject = {SubjectKind::jar, input.jar};
      instances_.insert_or_assign(key(instance), instance);
    }
  }
  if (jar.retired) jar.stays.clear();
  jar.retired = false;
  jar.retired_at.reset();
  const auto same = std::find_if(jar.stays.begin(), jar.stays.end(),
                                 [&](const Stay& stay) { return stay.from == from; });
  if (same != jar.stays.end()) {
    same->place = input.place;
  } else {
    jar.stays.push_back({from, input.place});
    std::sort(jar.stays.begin(), jar.stays.end(),
              [](const Stay& a, const Stay& b) { return a.from < b.from; });
  }
  for (auto& [name, instance] : instances_) {
    if (instance.subject == Subject{SubjectKind::jar, input.jar} && from <= *now_) {
      changed(instance, from);
    }
  }
}

// What was told in advance and has come.
void PlainEngine::jars_at_their_time() {
  for (auto& [id, jar] : jars_) {
    const bool retires = !jar.retired && jar.retired_at && *jar.retired_at <= *now_;
    for (auto each = instances_.begin(); each != instances_.end();) {
      Instance& instance = each->second;
      const bool own = instance.subject == Subject{SubjectKind::jar, id};
      for (const Stay& stay : jar.stays) {
        if (own && stay.from == *now_) changed(instance, stay.from);
      }
      each = own && retires ? instances_.erase(each) : std::next(each);
    }
    if (!retires) continue;
    jar.retired = true;
    for (auto alert = alerts_.begin(); alert != alerts_.end();) {
      const bool own = alert->second.subject == Subject{SubjectKind::jar, id};
      if (own) say("ended", alert->second, -1);
      alert = own ? alerts_.erase(alert) : std::next(alert);
    }
  }
}

// Something became known at `at`. What lies more than `late` behind the newest such moment is not
// looked at again.
void PlainEngine::changed(Instance& instance, int at) {
  concerned_.insert(key(instance));
  const int from = instance.settled ? std::max(at, *instance.settled - late_) : at;
  instance.settled = std::max(instance.settled.value_or(at), at);
  instance.computed = std::min(instance.computed, from - 1);
}

// Brings alerts in line with the minute `now`: of all instances, or of some.
void PlainEngine::come_to(int now, const std::set<std::string>* only) {
  now_ = now;
  if (only == nullptr) jars_at_their_time();
  std::vector<Instance*> raised, eased;
  for (auto& [name, instance] : instances_) {
    if (only != nullptr && only->count(name) == 0) continue;
    compute(instance, instance.computed + 1, now);
    const bool met = instance.met[static_cast<std::size_t>(now)];
    if (met && !instance.alerted) raised.push_back(&instance);
    if (!met && instance.alerted) eased.push_back(&instance);
  }
  const auto order = [&](const Instance* a, const Instance* b) {
    const auto depth = [](const Instance* i) {
      return std::count(i->subject.id.begin(), i->subject.id.end(), '/');
    };
    return std::tuple(a->rule - settings_.book.data(), depth(a), a->subject.id) <
           std::tuple(b->rule - settings_.book.data(), depth(b), b->subject.id);
  };
  std::sort(raised.begin(), raised.end(), order);
  std::sort(eased.begin(), eased.end(), order);
  for (Instance* instance : raised) raise(*instance);
  for (Instance* instance : eased) ease(*instance);
  for (auto alert = alerts_.begin(); alert != alerts_.end();) {
    const auto& eased_at = alert->second.eased_at;
    const bool over = eased_at && *eased_at + whole_minutes(settings_.reopen_within) <= now;
    if (over) say("ended", alert->second, -1);
    alert = over ? alerts_.erase(alert) : std::next(alert);
  }
}

void PlainEngine::compute(Instance& instance, int from, int to) {
  from = std::max(from, 0);
  const auto size = static_cast<std::size_t>(to + 1);
  instance.met.resize(std::max(size, instance.met.size()));
  instance.met_since.resize(instance.met.size());
  for (int m = from; m <= to; ++m) {
    fill(instance, instance.rule->when, m, false);
    fill(instance, instance.ease, m, true);
    const auto at = static_cast<std::size_t>(m);
    const bool was = m > 0 && instance.met[at - 1];
    const bool raises = instance.truths[instance.rule->when.get()][at] == Truth::yes;
    const bool eases = instance.truths[instance.ease.get()][at] == Truth::yes;
    instance.met[at] = raises || (was && !eases);
    instance.met_since[at] = was ? instance.met_since[at - 1] : m;
  }
  instance.computed = to;
}

void PlainEngine::fill(Instance& instance, const Condition& condition, int at, bool ease_side) {
  const auto each = [&](const Condition& part) { fill(instance, part, at, ease_side); };
  if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    std::for_each(all->parts.begin(), all->parts.end(), each);
  } else if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    std::for_each(any->parts.begin(), any->parts.end(), each);
  } else if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    each(negation->of);
  } else if (const auto* lasting = std::get_if<Lasting>(&condition->what)) {
    each(lasting->of);
  }
  std::vector<Truth>& own = instance.truths[condition.get()];
  own.resize(std::max(own.size(), static_cast<std::size_t>(at + 1)), Truth::unknown);
  own[static_cast<std::size_t>(at)] = truth(instance, condition, at, ease_side);
}

Truth PlainEngine::truth(const Instance& instance, const Condition& condition, int at,
                         bool ease_side) const {
  const auto of = [&](const Condition& part) {
    return instance.truths.at(part.get())[static_cast<std::size_t>(at)];
  };
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    return clause_truth(instance, *clause, at);
  }
  if (const auto* lasting = std::get_if<Lasting>(&condition->what)) {
    return lasting_truth(instance, *lasting, at, ease_side);
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    if (of(negation->of) == Truth::unknown) return Truth::unknown;
    return of(negation->of) == Truth::yes ? Truth::no : Truth::yes;
  }
  const auto* all = std::get_if<AllOf>(&condition->what);
  const auto& parts = all != nullptr ? all->parts : std::get<AnyOf>(condition->what).parts;
  const Truth decides = all != nullptr ? Truth::no : Truth::yes;
  bool unknown = false;
  for (const Condition& part : parts) {
    if (of(part) == decides) return decides;
    unknown = unknown || of(part) == Truth::unknown;
  }
  if (unknown) return Truth::unknown;
  return all != nullptr ? Truth::yes : Truth::no;
}

// Raising: true at every minute of the length. Easing: true now, and true for the length in sum
// since it was last false.
Truth PlainEngine::lasting_truth(const Instance& instance, const Lasting& lasting, int at,
                                 bool ease_side) const {
  const std::vector<Truth>& of = instance.truths.at(lasting.of.get());
  const Truth now = of[static_cast<std::size_t>(at)];
  if (now != Truth::yes) return now;
  const int length = whole_minutes(lasting.length);
  int held = 0;
  for (int m = at - 1; m >= 0; --m) {
    const Truth then = of[static_cast<std::size_t>(m)];
    if (then == Truth::no || (then == Truth::unknown && !ease_side)) break;
    if (then == Truth::yes) ++held;
  }
  return held >= length ? Truth::yes : Truth::no;
}

Truth PlainEngine::clause_truth(const Instance& instance, const Clause& clause, int at) const {
  const std::optional<double> value = this->value(instance, clause.of, at);
  if (!value) return Truth::unknown;
  const double limit = to_canonical(clause.limit, clause.of.dimension);
  bool holds = false;
  switch (clause.comparison) {
    case Comparison::above:
      holds = *value > limit;
      break;
    case Comparison::below:
      holds = *value < limit;
      break;
    case Comparison::at_least:
      holds = *value >= limit;
      break;
    case Comparison::at_most:
      holds = *value <= limit;
      break;
    case Comparison::between:
      holds = *value >= limit && *value <= to_canonical(clause.upper, clause.of.dimension);
      break;
  }
  return holds ? Truth::yes : Truth::no;
}

std::optional<double> PlainEngine::value(const Instance& instance, const Expression& of,
                                         int at) const {
  const auto term_value = [&](const Term& term) {
    if (const auto* window = std::get_if<Window>(&term)) return value(instance, *window, at);
    return value(instance, std::get<QuantityAt>(term), at);
  };
  const auto value = term_value(of.term);
  if (!of.minus) return value;
  const auto minus = term_value(*of.minus);
  return value && minus ? std::optional(*value - *minus) : std::nullopt;
}

// Minute by minute: each counts with the value that it begins with.
std::optional<double> PlainEngine::value(const Instance& instance, const Window& window,
                                         int at) const {
  const int length = whole_minutes(window.length);
  const auto inner = [&](int m) -> std::optional<double> {
    if (window.of) return value(instance, *window.of, m);
    const Truth truth = plain_truth(instance, window.with, m);
    if (truth == Truth::unknown) return std::nullopt;
    return truth == Truth::yes ? 1.0 : 0.0;
  };
  int known = 0;
  double sum = 0.0;
  std::optional<double> highest, lowest;
  for (int m = at - length; m <= at; ++m) {
    const auto value = inner(m);
    if (!value) continue;
    highest = std::max(highest.value_or(*value), *value);
    lowest = std::min(lowest.value_or(*value), *value);
    if (m == at) break;
    ++known;
    sum += *value;
  }
  if (4 * known < 3 * length) return std::nullopt;
  const auto first = inner(at - length), last = inner(at);
  switch (window.kind) {
    case WindowKind::average:
      return sum / known;
    case WindowKind::highest:
      return highest;
    case WindowKind::lowest:
      return lowest;
    case WindowKind::rise:
      return first && last ? std::optional(*last - *first) : std::nullopt;
    case WindowKind::time_with:
      break;
  }
  return 60.0 * sum;
}

// A condition without memory.
Truth PlainEngine::plain_truth(const Instance& instance, const Condition& condition, int at) const {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    return clause_truth(instance, *clause, at);
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    const Truth of = plain_truth(instance, negation->of, at);
    if (of == Truth::unknown) return of;
    return of == Truth::yes ? Truth::no : Truth::yes;
  }
  const auto* all = std::get_if<AllOf>(&condition->what);
  const auto& parts = all != nullptr ? all->parts : std::get<AnyOf>(condition->what).parts;
  const Truth decides = all != nullptr ? Truth::no : Truth::yes;
  bool unknown = false;
  for (const Condition& part : parts) {
    const Truth truth = plain_truth(instance, part, at);
    if (truth == decides) return decides;
    unknown = unknown || truth == Truth::unknown;
  }
  if (unknown) return Truth::unknown;
  return all != nullptr ? Truth::yes : Truth::no;
}

std::optional<double> PlainEngine::value(const Instance& instance, const QuantityAt& quantity,
                                         int at) const {
  if (quantity.quantity == RuleQuantity::time_since_broker) {
    std::optional<double> seconds;
    for (const auto& [when, connected] : link_) {
      if (when <= at) seconds = connected ? 0.0 : 60.0 * (at - when);
    }
    return seconds;
  }
  if (quantity.quantity == RuleQuantity::time_since_reading) {
    if (at < first_known_) return std::nullopt;
    int newest = first_known_;
    for (const Said& each : said_) {
      const bool own = settings_.layout.sensors[each.sensor].id == instance.subject.id;
      if (own && each.at <= at) newest = std::max(newest, each.at);
    }
    return 60.0 * (at - newest);
  }
  std::string place = instance.subject.id;
  if (instance.subject.kind == SubjectKind::jar) {
    place.clear();
    for (const Stay& stay : jars_.at(instance.subject.id).stays) {
      if (stay.from <= at) place = stay.place;
    }
    if (place.empty()) return std::nullopt;  // it is not a jar yet
  }
  return air_value(quantity.place.empty() ? place : quantity.place, quantity.quantity, at);
}

std::optional<double> PlainEngine::air_value(const std::string& place, RuleQuantity quantity,
                                             int at) const {
  const Speakers speakers = speakers_for(settings_.layout, place);
  const auto air = accepted_.find(speakers);
  if (air == accepted_.end()) return std::nullopt;
  for (const std::size_t speaker : speakers) {
    const int hold = whole_minutes(settings_.layout.sensors[speaker].hold);
    const auto held = [&](Quantity which) {
      const Said* newest = nullptr;
      for (const Said& each : air->second) {
        const bool fits = each.sensor == speaker && each.quantity == which && each.at <= at;
        if (fits && (newest == nullptr || each.at > newest->at)) newest = &each;
      }
      return newest != nullptr && at < newest->at + hold ? std::optional(newest->value)
                                                         : std::nullopt;
    };
    const auto temperature = held(Quantity::temperature);
    const auto humidity = held(Quantity::humidity);
    if (quantity == RuleQuantity::temperature) {
      if (temperature) return temperature;
      continue;
    }
    if (!temperature || !humidity) continue;
    if (quantity == RuleQuantity::humidity) return humidity;
    return air::dew_point(air::vapour_pressure(Celsius(*temperature), Percent(*humidity))).value();
  }
  return std::nullopt;
}

void PlainEngine::raise(Instance& instance) {
  instance.alerted = true;
  const int since = instance.met_since[static_cast<std::size_t>(*now_)];
  const auto open_at = [&](const std::string& id) -> PlainAlert* {
    for (auto& [number, alert] : alerts_) {
      if (alert.rule == instance.rule->name &&
          alert.subject == Subject{instance.subject.kind, id}) {
        return &alert;
      }
    }
    return nullptr;
  };
  PlainAlert* alert = open_at(instance.subject.id);
  if (instance.subject.kind == SubjectKind::place) {
    std::string above = instance.subject.id;
    while (alert == nullptr && above.find('/') != std::string::npos) {
      above.resize(above.rfind('/'));
      alert = open_at(above);
    }
  }
  if (alert == nullptr) {
    const std::uint64_t number = next_number_++;
    alert = &alerts_[number];
    *alert = {number, instance.rule->name, instance.subject, {}, {}};
    say("raised", *alert, since);
  } else if (alert->standing.empty()) {
    alert->eased_at.reset();
    say("reopened", *alert, since);
  }
  alert->standing.insert(instance.subject.id);
}

void PlainEngine::ease(Instance& instance) {
  instance.alerted = false;
  for (auto& [number, alert] : alerts_) {
    if (alert.rule != instance.rule->name || alert.subject.kind != instance.subject.kind) continue;
    if (alert.standing.erase(instance.subject.id) == 0 || !alert.standing.empty()) continue;
    alert.eased_at = now_;
    say("eased", alert, -1);
  }
}

void PlainEngine::say(const char* kind, const PlainAlert& alert, int since) {
  text_ += std::to_string(*now_) + " " + kind + " " + std::to_string(alert.number) + " " +
           alert.rule + " " + alert.subject.id;
  if (since >= 0) text_ += " since " + std::to_string(since);
  text_ += "\n";
}

bool PlainEngine::sensor_is_live(std::size_t sensor) const {
  const int hold = whole_minutes(settings_.layout.sensors[sensor].hold);
  for (const Said& each : said_) {
    if (each.sensor == sensor && each.trusted && *now_ < each.at + hold) return true;
  }
  return false;
}

std::string PlainEngine::standing_jars() const {
  std::string text;
  for (const auto& [number, alert] : alerts_) {
    if (alert.subject.kind != SubjectKind::place || alert.standing.empty()) continue;
    text += std::to_string(number) + ":";
    for (const auto& [id, jar] : jars_) {
      std::string at;
      for (const Stay& stay : jar.stays) {
        if (stay.from <= *now_) at = stay.place;
      }
      // Upwards from the jar: the first place that is met lists it, the first live sensor of
      // another place hides it from those above.
      bool listed = false;
      std::string_view place = jar.retired ? std::string_view{} : std::string_view(at);
      for (; !place.empty() && !listed; place = parent_place(place)) {
        listed = alert.standing.count(std::string(place)) > 0;
        bool speaks = false;
        for (std::size_t i = 0; i < settings_.layout.sensors.size(); ++i) {
          speaks = speaks || (settings_.layout.sensors[i].place == place && sensor_is_live(i));
        }
        if (speaks) break;
      }
      if (listed) text += " " + id;
    }
    text += "\n";
  }
  return text;
}

}  // namespace torpor::rules

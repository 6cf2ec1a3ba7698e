// One cause is one alert, and a jar has one line: which alert explains what, which of a jar's
// alerts speaks for it, and its standing.
#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "rules/watch/core.h"

namespace torpor::rules {

// ---- symptoms -----------------------------------------------------------------------------------

std::optional<std::size_t> Watch::Core::jar_instance(const std::string& jar,
                                                     const std::string& rule) const {
  const auto known = register_.find(jar);
  const auto index = rule_index_.find(rule);
  if (!known || index == rule_index_.end()) return std::nullopt;
  for (const std::size_t at : jars_[*known].instances) {
    if (instances_[at]->rule == index->second) return at;
  }
  return std::nullopt;
}

// The alert in which a rule that a subject meets stands: its own, or one that explains it.
std::optional<std::uint64_t> Watch::Core::stands_in(const std::string& rule,
                                                    const Subject& subject) const {
  if (const auto own = alerts_.standing_in(rule, subject)) return own;
  if (subject.kind != SubjectKind::jar) return std::nullopt;
  for (const auto& [number, open] : alerts_.open()) {
    for (const Symptom& symptom : open.alert.symptoms) {
      if (symptom.jar == subject.id && symptom.rule == rule) return number;
    }
  }
  return std::nullopt;
}

// It stands in an alert of another rule.
bool Watch::Core::is_symptom(const Instance& instance) const {
  const auto open = alerts_.open().find(instance.alert);
  return instance.met && open != alerts_.open().end() &&
         open->second.alert.rule != rules_[instance.rule].rule->name;
}

// The standing alert that explains what a jar meets: one of the jar's own before one of its place.
std::optional<std::uint64_t> Watch::Core::explainer_of(const Instance& instance) const {
  if (instance.subject.kind != SubjectKind::jar) return std::nullopt;
  std::optional<std::uint64_t> of_place;
  for (const auto& [number, open] : alerts_.open()) {
    const Alert& alert = open.alert;
    if (alert.state != AlertState::standing) continue;
    const auto rule = rule_index_.find(alert.rule);
    if (rule == rule_index_.end() || rules_[rule->second].explains.count(instance.rule) == 0) {
      continue;
    }
    if (alert.subject == instance.subject) return number;
    const bool lists =
        alert.subject.kind == SubjectKind::place &&
        std::find(alert.jars.begin(), alert.jars.end(), instance.subject.id) != alert.jars.end();
    if (lists && !of_place) of_place = number;
  }
  return of_place;
}

void Watch::Core::explain(std::size_t at, std::uint64_t number) {
  Instance& instance = *instances_[at];
  set_met(at, instance, number);
  OpenAlert& open = alerts_.at(number);
  auto& symptoms = open.alert.symptoms;
  Symptom symptom{instance.subject.id, rules_[instance.rule].rule->name, ""};
  symptoms.insert(std::lower_bound(symptoms.begin(), symptoms.end(), symptom), std::move(symptom));
  const Urgency urgency = urgency_of(instance);
  if (urgency < open.alert.urgency) {
    alerts_.rise(number, urgency, *now_);
    if (open.notices == 0) open.risen_unsaid = false;  // its first notice is yet to come
  }
}

void Watch::Core::drop_symptom(std::uint64_t number, const Instance& instance) {
  const std::string& rule = rules_[instance.rule].rule->name;
  std::erase_if(alerts_.at(number).alert.symptoms, [&](const Symptom& symptom) {
    return symptom.jar == instance.subject.id && symptom.rule == rule;
  });
}

// What stood by itself before its cause was found.
void Watch::Core::absorb_symptoms(std::uint64_t number) {
  const Alert& alert = alerts_.at(number).alert;
  const auto rule = rule_index_.find(alert.rule);
  if (rule == rule_index_.end() || alert.state != AlertState::standing) return;
  const std::set<std::size_t>& explains = rules_[rule->second].explains;
  if (explains.empty()) return;
  const std::vector<std::string> jars = alert.jars;
  for (const std::string& id : jars) {
    const auto jar = register_.find(id);
    if (!jar) continue;
    for (const std::size_t at : jars_[*jar].instances) {
      Instance& instance = *instances_[at];
      if (!instance.met || explains.count(instance.rule) == 0 || instance.alert == number) continue;
      if (is_symptom(instance)) {
        // The jar's own cause explains it better than its room's.
        if (alert.subject.kind != SubjectKind::jar) continue;
        drop_symptom(instance.alert, instance);
      } else if (!instance.unsaid) {
        finish(instance.alert);
      }
      instance.unsaid = false;
      explain(at, number);
    }
  }
}

void Watch::Core::finish(std::uint64_t number) {
  const Alert ended = alerts_.end(number, *now_);
  if (ended.subject.kind == SubjectKind::jar) {
    if (const auto jar = register_.find(ended.subject.id)) unsettled_lines_.insert(*jar);
  }
  emit(AlertChangeKind::ended, ended);
  release_symptoms(ended.symptoms);
}

// Their cause explains them no more. What is only waiting for its `until` is not said any more.
void Watch::Core::release_symptoms(const std::vector<Symptom>& symptoms) {
  for (const Symptom& symptom : symptoms) {
    const auto at = jar_instance(symptom.jar, symptom.rule);
    if (!at) continue;
    Instance& instance = *instances_[*at];
    if (!instance.met) continue;
    set_met(*at, instance, 0);
    instance.unsaid = true;
    stir(*at);
  }
}

// Of jars that the alert no longer lists.
void Watch::Core::release_those_gone(Alert& alert) {
  std::vector<Symptom> gone;
  std::erase_if(alert.symptoms, [&](const Symptom& symptom) {
    const bool listed =
        std::find(alert.jars.begin(), alert.jars.end(), symptom.jar) != alert.jars.end();
    if (!listed) gone.push_back(symptom);
    return !listed;
  });
  release_symptoms(gone);
}

void Watch::Core::describe_symptoms(Alert& alert) const {
  for (Symptom& symptom : alert.symptoms) {
    const auto at = jar_instance(symptom.jar, symptom.rule);
    if (!at) continue;
    const Instance& instance = *instances_[*at];
    const Rule& rule = *rules_[instance.rule].rule;
    const Instant t = std::max(*now_, instance.machine.settled().value_or(*now_));
    symptom.what = what_sentence({rule, instance.subject, register_.place_of(instance.index),
                                  AlertState::standing, t, settings_.utc_offset, "", nullptr},
                                 reader_of(instance, t));
  }
}

// ---- a jar's line -------------------------------------------------------------------------------

std::vector<StandingAlert> Watch::Core::alerts_of_jar(std::size_t jar) const {
  const std::string& id = register_.at(jar).id;
  std::vector<StandingAlert> found;
  for (const auto& [number, open] : alerts_.open()) {
    const Alert& alert = open.alert;
    if (alert.state != AlertState::standing) continue;
    const bool of_jar = alert.subject.kind == SubjectKind::jar && alert.subject.id == id;
    const bool lists = alert.subject.kind == SubjectKind::place &&
                       std::find(alert.jars.begin(), alert.jars.end(), id) != alert.jars.end();
    if (of_jar || lists) found.push_back(standing_alert(alert));
  }
  return found;
}

// Of a jar's own alerts only the one that leads its line is said.
bool Watch::Core::speaks_for_its_jar(const Alert& alert) const {
  if (alert.subject.kind != SubjectKind::jar) return true;
  const auto jar = register_.find(alert.subject.id);
  if (!jar) return true;
  const StandingAlert own = standing_alert(alert);
  const auto all = alerts_of_jar(*jar);
  return std::none_of(all.begin(), all.end(), [&](const StandingAlert& other) {
    // What its room asks for is said by the room; only what is more urgent keeps the jar silent.
    const bool counts = other.of_jar || other.urgency < own.urgency;
    return counts && other.number != own.number && leads(other, own);
  });
}

// Whose turn it is to speak may have passed from one alert to another: it is said if it asks for
// something that was not asked for, or sooner.
void Watch::Core::settle_lines() {
  const std::set<std::size_t> jars = std::exchange(unsettled_lines_, {});
  for (const std::size_t jar : jars) {
    bool any = false;
    for (const std::size_t at : jars_[jar].instances) {
      const Instance& instance = *instances_[at];
      if (!instance.met || instance.alert == 0 || is_symptom(instance)) continue;
      const OpenAlert& open = alerts_.at(instance.alert);
      any = any || open.alert.state == AlertState::standing;
      if (!alerts_.is_withheld(instance.alert) || !speaks_for_its_jar(open.alert)) continue;
      if (open.notices == 0 && was_said(open.alert)) {
        alerts_.count_as_said(instance.alert, jars_[jar].said->at);
      }
      alerts_.resume(instance.alert, *now_);
    }
    if (!any) jars_[jar].said.reset();
  }
}

// While something has been asked for of a jar, the same is not asked for by another alert of it.
bool Watch::Core::was_said(const Alert& alert) const {
  if (alert.subject.kind != SubjectKind::jar || alert.remedies.empty()) return false;
  const auto jar = register_.find(alert.subject.id);
  const auto& said = jar ? jars_[*jar].said : std::nullopt;
  return said && said->remedy == alert.remedies.front().remedy && said->urgency <= alert.urgency;
}

// Something was told of it, or its model was worked out anew: what its alerts say follows. One
// whose cause that has ended is over: its `until` need not take its time, for nobody waits to see
// whether the air means it.
void Watch::Core::redescribe(std::size_t jar) {
  for (const std::size_t at : jars_[jar].instances) {
    Instance& instance = *instances_[at];
    if (!instance.met || instance.alert == 0) continue;
    const std::uint64_t number = instance.alert;
    if (is_passing(instance)) {
      unsettled_lines_.insert(jar);
      if (is_symptom(instance)) {
        drop_symptom(number, instance);
        describe_symptoms(alerts_.at(number).alert);
        emit(AlertChangeKind::updated, alerts_.at(number).alert);
      } else {
        (void)alerts_.ease(rules_[instance.rule].rule->name, instance.subject, *now_);
        OpenAlert& over = alerts_.at(number);
        release_symptoms(std::exchange(over.alert.symptoms, {}));
        describe(over);
        emit(AlertChangeKind::eased, over.alert);
        if (over.alert.urgency == Urgency::now && over.notices > 0) {
          send_notice(over, NoticeKind::over);
        }
      }
      set_met(at, instance, 0);
      instance.unsaid = true;
      continue;
    }
    if (is_symptom(instance)) continue;
    OpenAlert& open = alerts_.at(number);
    if (open.alert.state != AlertState::standing) continue;
    const Alert before = open.alert;
    describe(open);
    if (open.alert != before) emit(AlertChangeKind::updated, open.alert);
  }
}

// ---- what is to be done -------------------------------------------------------------------------

// What was right when it was raised (to air the room, say) may be wrong by now: looked at with the
// readings, once an hour, and said anew where another deed comes first.
void Watch::Core::refresh_deeds() {
  if (!now_) return;
  for (const auto& [number, known] : alerts_.open()) {
    const bool of_air = known.alert.subject.kind == SubjectKind::place ||
                        known.alert.subject.kind == SubjectKind::jar;
    const bool due = known.alert.state == AlertState::standing && of_air &&
                     !known.alert.remedies.empty() &&
                     (known.described_at == kAlways || known.described_at + kDeedEvery <= *now_);
    if (!due) continue;
    OpenAlert& open = alerts_.at(number);
    const Alert before = open.alert;
    describe(open);
    const auto deed = [](const Alert& alert) {
      return alert.remedies.empty() ? std::optional<Remedy>() : alert.remedies.front().remedy;
    };
    if (deed(open.alert) != deed(before) || open.alert.jars != before.jars ||
        open.alert.symptoms.size() != before.symptoms.size()) {
      emit(AlertChangeKind::updated, open.alert);
    } else {
      open.alert = before;
    }
  }
}

// ---------------------------------------------------------------------------

std::string Watch::Core::todo() const {
  std::vector<const Alert*> asking;
  for (const auto& [number, open] : alerts_.open()) {
    const Alert& alert = open.alert;
    const bool asks = alert.state == AlertState::standing && !alert.deferred_until &&
                      !alert.remedies.empty() && !concerns_no_jar(open);
    if (asks && speaks_for_its_jar(alert)) asking.push_back(&alert);
  }
  std::stable_sort(asking.begin(), asking.end(), [](const Alert* a, const Alert* b) {
    return leads(standing_alert(*a), standing_alert(*b));
  });
  std::string text;
  for (std::size_t i = 0; i < asking.size(); ++i) {
    const std::string line = todo_line(*asking[i]);
    const std::string more = fmt::format("\nAnd {} more.", asking.size() - i);
    const std::size_t room = i + 1 == asking.size() ? 0 : more.size() + 1;
    if (!text.empty() && text.size() + 1 + line.size() + room > kLongestTodo) return text + more;
    text += (text.empty() ? "" : "\n") + line;
  }
  return text.empty() ? std::string("Nothing to do.") : text;
}

std::string Watch::Core::todo_line(const Alert& alert) const {
  std::string where = alert.subject.id;
  std::string place;
  if (alert.subject.kind == SubjectKind::jar) {
    if (const auto jar = register_.find(where)) place = register_.place_of(*jar);
  } else if (alert.subject.kind == SubjectKind::sensor) {
    where = "sensor " + where;
  } else if (alert.subject.kind == SubjectKind::service) {
    where = "the service";
  }
  if (!place.empty()) where += fmt::format(" ({})", place);
  std::string line =
      fmt::format("{}: {}: {}", urgency_words(alert.urgency), where, alert.remedies.front().words);
  return line.size() <= kLongestTodo ? line : line.substr(0, line.find(". ") + 1);
}

// ---- its standing -------------------------------------------------------------------------------

std::optional<Standing> Watch::Core::jar_standing(std::string_view id) const {
  const auto jar = register_.find(id);
  if (!jar || register_.at(*jar).retired || !now_) return std::nullopt;
  const JarRecord& record = register_.at(*jar);
  const Jar& own = jars_[*jar];
  culture::Verdict verdict;
  verdict.reasons.emplace_back("Nobody has told what is in it.");
  bool gas_tight = false;
  if (const auto model = jar_model(id)) {
    verdict = model->verdict();
    gas_tight = !culture::facts(verdict.figures.cover).vents_gas;
  }
  const std::vector<StandingAlert> alerts = alerts_of_jar(*jar);
  StandingScene scene;
  scene.jar = record.id;
  scene.place = register_.place_of(*jar);
  scene.verdict = &verdict;
  scene.as_of = *now_;
  scene.spoilage = own.spoilage;
  scene.gas_tight = gas_tight;
  scene.recomputing = own.track && own.track->outdated();
  scene.alerts = alerts;
  return standing_of(scene);
}

}  // namespace torpor::rules

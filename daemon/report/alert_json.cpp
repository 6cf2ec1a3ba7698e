#include "daemon/report/alert_json.h"

#include <array>
#include <utility>

#include "daemon/report/json_values.h"

namespace torpor::daemon {
namespace {

using rules::AlertState;
using rules::SubjectKind;
using rules::Urgency;

constexpr std::array<std::pair<AlertState, std::string_view>, 3> kStates = {
    {{AlertState::standing, "standing"},
     {AlertState::eased, "eased"},
     {AlertState::ended, "ended"}}};
constexpr std::array<std::pair<SubjectKind, std::string_view>, 4> kKinds = {
    {{SubjectKind::place, "place"},
     {SubjectKind::jar, "jar"},
     {SubjectKind::sensor, "sensor"},
     {SubjectKind::service, "service"}}};
constexpr std::array<Urgency, 3> kUrgencies = {Urgency::now, Urgency::today, Urgency::this_week};

template <class Table, class Value>
std::string_view name_in(const Table& table, Value value) {
  for (const auto& [known, name] : table) {
    if (known == value) return name;
  }
  return table.front().second;
}

template <class Table, class Value>
void take_named(const Tree& tree, const char* key, const Table& table, Value& value) {
  const std::string name = tree.value(key, std::string());
  for (const auto& [known, known_name] : table) {
    if (known_name == name) value = known;
  }
}

std::string text_at(const Tree& tree, const char* key) {
  const auto found = tree.find(key);
  return found != tree.end() && found->is_string() ? found->get<std::string>() : std::string();
}

std::optional<Instant> time_at(const Tree& tree, const char* key) {
  return parse_rfc3339(text_at(tree, key));
}

Tree figure_tree(const rules::Figure& figure) {
  return {{"name", figure.name}, {"value", json_value(figure.value)}, {"unit", figure.unit}};
}

Tree figure_trees(const std::vector<rules::Figure>& figures) {
  Tree trees = Tree::array();
  for (const rules::Figure& figure : figures) trees.push_back(figure_tree(figure));
  return trees;
}

Tree symptom_trees(const std::vector<rules::Symptom>& symptoms) {
  Tree trees = Tree::array();
  for (const rules::Symptom& each : symptoms) {
    trees.push_back({{"jar", each.jar}, {"rule", each.rule}, {"what", each.what}});
  }
  return trees;
}

Tree remedy_trees(const std::vector<rules::Advice>& remedies) {
  Tree trees = Tree::array();
  for (const rules::Advice& each : remedies) {
    trees.push_back({{"name", std::string(remedy_name(each.remedy))},
                     {"advice", each.words},
                     {"amounts", figure_trees(each.amounts)}});
  }
  return trees;
}

rules::Figure figure_at(const Tree& entry) {
  rules::Figure figure{text_at(entry, "name"), std::nullopt, text_at(entry, "unit")};
  const auto value = entry.find("value");
  if (value != entry.end() && value->is_number()) figure.value = value->get<double>();
  return figure;
}

std::vector<rules::Figure> figures_at(const Tree& tree, const char* key) {
  std::vector<rules::Figure> figures;
  for (const Tree& entry : tree.value(key, Tree::array())) figures.push_back(figure_at(entry));
  return figures;
}

std::vector<rules::Advice> remedies_at(const Tree& tree) {
  std::vector<rules::Advice> remedies;
  for (const Tree& entry : tree.value("remedies", Tree::array())) {
    if (const auto remedy = rules::remedy_named(text_at(entry, "name"))) {
      remedies.push_back({*remedy, text_at(entry, "advice"), figures_at(entry, "amounts")});
    }
  }
  return remedies;
}

AlertView view_in(const Tree& tree) {
  AlertView view;
  rules::Alert& alert = view.alert;
  alert.number = tree.value("number", std::uint64_t{0});
  alert.rule = text_at(tree, "rule");
  take_named(tree, "subject_kind", kKinds, alert.subject.kind);
  alert.subject.id =
      alert.subject.kind == SubjectKind::service ? std::string() : text_at(tree, "subject");
  take_named(tree, "state", kStates, alert.state);
  for (const Urgency urgency : kUrgencies) {
    if (urgency_name(urgency) == text_at(tree, "urgency")) alert.urgency = urgency;
  }
  alert.raised_at = time_at(tree, "raised").value_or(Instant{});
  alert.since = time_at(tree, "since").value_or(alert.raised_at);
  alert.eased_at = time_at(tree, "eased");
  alert.ended_at = time_at(tree, "ended");
  alert.seen_at = time_at(tree, "seen");
  alert.seen_by = text_at(tree, "seen_by");
  alert.deferred_until = time_at(tree, "deferred_until");
  alert.deferred_reason = text_at(tree, "deferred_reason");
  alert.what = text_at(tree, "what");
  alert.why = text_at(tree, "why");
  alert.remedies = remedies_at(tree);
  alert.jars = tree.value("jars", std::vector<std::string>());
  for (const Tree& entry : tree.value("symptoms", Tree::array())) {
    alert.symptoms.push_back(
        {text_at(entry, "jar"), text_at(entry, "rule"), text_at(entry, "what")});
  }
  alert.figures = figures_at(tree, "figures");
  alert.outlook = text_at(tree, "outlook");
  const auto worst = tree.find("worst");
  if (worst != tree.end() && worst->is_object()) alert.worst = figure_at(*worst);
  alert.worst_at = time_at(tree, "worst_at");
  return view;
}

}  // namespace

nlohmann::ordered_json alert_tree(const AlertView& view) {
  const rules::Alert& alert = view.alert;
  const bool service = alert.subject.kind == SubjectKind::service;
  return {{"number", alert.number},
          {"rule", alert.rule},
          {"subject_kind", std::string(name_in(kKinds, alert.subject.kind))},
          {"subject", service ? "service" : alert.subject.id},
          {"urgency", std::string(urgency_name(alert.urgency))},
          {"state", std::string(name_in(kStates, alert.state))},
          {"since", json_value(alert.since)},
          {"raised", json_value(alert.raised_at)},
          {"eased", json_value(alert.eased_at)},
          {"ended", json_value(alert.ended_at)},
          {"seen", json_value(alert.seen_at)},
          {"seen_by", json_text(alert.seen_by)},
          {"deferred_until", json_value(alert.deferred_until)},
          {"deferred_reason", json_text(alert.deferred_reason)},
          {"what", alert.what},
          {"why", alert.why},
          {"outlook", json_text(alert.outlook)},
          {"remedies", remedy_trees(alert.remedies)},
          {"jars", alert.jars},
          {"symptoms", symptom_trees(alert.symptoms)},
          {"figures", figure_trees(alert.figures)},
          {"worst", alert.worst ? figure_tree(*alert.worst) : Tree()},
          {"worst_at", json_value(alert.worst_at)}};
}

std::string alert_json(const AlertView& view) { return json_dump(alert_tree(view)); }

tl::expected<AlertView, std::string> alert_from_json(std::string_view text) {
  try {
    const Tree tree = Tree::parse(text);
    if (!tree.is_object() || !tree.contains("number")) {
      return tl::unexpected(std::string("an alert in the history is not an object with a number"));
    }
    return view_in(tree);
  } catch (const nlohmann::json::exception& error) {
    return tl::unexpected(std::string("an alert in the history cannot be read: ") + error.what());
  }
}

}  // namespace torpor::daemon

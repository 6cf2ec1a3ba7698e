#include "daemon/report/jar_standing_json.h"

#include <algorithm>

#include "daemon/report/json_values.h"

namespace torpor::daemon {
namespace {

using rules::Standing;
using rules::culture::State;
using rules::culture::WakeTime;

Tree advice_tree(const std::optional<rules::Advice>& advice) {
  if (!advice) return nullptr;
  Tree amounts = Tree::array();
  for (const rules::Figure& figure : advice->amounts) {
    amounts.push_back(
        {{"name", figure.name}, {"value", json_value(figure.value)}, {"unit", figure.unit}});
  }
  return {{"remedy", std::string(remedy_name(advice->remedy))},
          {"words", advice->words},
          {"amounts", amounts}};
}

std::optional<rules::Advice> advice_from(const Tree& tree) {
  if (tree.is_null()) return std::nullopt;
  const auto remedy = rules::remedy_named(tree.at("remedy").get<std::string>());
  if (!remedy) return std::nullopt;
  rules::Advice advice{*remedy, tree.at("words").get<std::string>(), {}};
  for (const Tree& each : tree.at("amounts")) {
    const Tree& value = each.at("value");
    advice.amounts.push_back({each.at("name").get<std::string>(),
                              value.is_null() ? std::nullopt : std::optional(value.get<double>()),
                              each.at("unit").get<std::string>()});
  }
  return advice;
}

std::optional<rules::Urgency> urgency_from(const Tree& tree) {
  for (const auto urgency :
       {rules::Urgency::now, rules::Urgency::today, rules::Urgency::this_week}) {
    if (tree.is_string() && tree.get<std::string>() == urgency_name(urgency)) return urgency;
  }
  return std::nullopt;
}

// As json_value() wrote it.
WakeTime wake_time_from(const Tree& tree) {
  if (tree.is_null()) return {};
  if (tree.is_object()) return {WakeTime::Kind::beyond, tree.at("beyond_h").get<double>()};
  const auto hours = tree.get<double>();
  return {hours > 0.0 ? WakeTime::Kind::within : WakeTime::Kind::due, hours};
}

std::optional<State> state_from(const std::string& name) {
  for (int i = 0; i <= static_cast<int>(State::retired); ++i) {
    const auto state = static_cast<State>(i);
    if (state_name(state) == name) return state;
  }
  return std::nullopt;
}

}  // namespace

std::string standing_note(std::string_view jar) { return "standing/" + std::string(jar); }

std::string jar_standing_json(const Standing& standing) {
  Tree tree;
  tree["jar"] = standing.jar;
  tree["place"] = standing.place;
  tree["as_of"] = json_value(standing.as_of);
  tree["state"] = std::string(state_name(standing.state));
  tree["use"] = std::string(use_name(standing.use));
  tree["urgency"] =
      standing.urgency ? Tree(std::string(urgency_name(*standing.urgency))) : Tree(nullptr);
  tree["alert"] = standing.alert;
  tree["why"] = standing.why;
  tree["reasons"] = standing.reasons;
  tree["deed"] = advice_tree(standing.deed);
  tree["next"] = advice_tree(standing.next);
  if (standing.next_date) {
    tree["next_date"] = {{"at", json_value(standing.next_date->at)},
                         {"what", standing.next_date->what}};
  }
  tree["time_to_wake_h"] = Tree::array();
  for (const auto& time : standing.time_to_wake) {
    tree["time_to_wake_h"].push_back(json_value(time));
  }
  tree["coverage_percent"] = json_value(standing.coverage_percent);
  tree["recomputing"] = standing.recomputing;
  return json_dump(tree);
}

tl::expected<Standing, std::string> jar_standing_from_json(std::string_view text) {
  const auto wrong = [](const std::string& what) {
    return tl::unexpected("a jar's standing in the history cannot be read: " + what);
  };
  try {
    const Tree tree = Tree::parse(text);
    Standing standing;
    standing.jar = tree.at("jar").get<std::string>();
    standing.place = tree.at("place").get<std::string>();
    const auto as_of = parse_rfc3339(tree.at("as_of").get<std::string>());
    const auto state = state_from(tree.at("state").get<std::string>());
    const auto use = rules::use_named(tree.at("use").get<std::string>());
    if (!as_of || !state || !use) return wrong("an unknown time, state or use");
    standing.as_of = *as_of;
    standing.state = *state;
    standing.use = *use;
    standing.urgency = urgency_from(tree.at("urgency"));
    standing.alert = tree.at("alert").get<std::uint64_t>();
    standing.why = tree.at("why").get<std::string>();
    standing.reasons = tree.at("reasons").get<std::vector<std::string>>();
    standing.deed = advice_from(tree.at("deed"));
    standing.next = advice_from(tree.at("next"));
    if (const auto next = tree.find("next_date"); next != tree.end()) {
      const auto at = parse_rfc3339(next->at("at").get<std::string>());
      if (!at) return wrong("an unknown time");
      standing.next_date = rules::NextDate{*at, next->at("what").get<std::string>()};
    }
    const Tree& times = tree.at("time_to_wake_h");
    if (times.size() != standing.time_to_wake.size()) return wrong("another number of times");
    std::transform(times.begin(), times.end(), standing.time_to_wake.begin(), wake_time_from);
    standing.coverage_percent = tree.at("coverage_percent").get<double>();
    standing.recomputing = tree.at("recomputing").get<bool>();
    return standing;
  } catch (const nlohmann::json::exception& error) {
    return wrong(error.what());
  }
}

void add_standing(Tree& tree, const Standing& standing) {
  tree["state"] = std::string(state_name(standing.state));
  tree["use"] = std::string(use_name(standing.use));
  std::vector<std::string> reasons;
  if (!standing.why.empty()) reasons.push_back(standing.why);
  reasons.insert(reasons.end(), standing.reasons.begin(), standing.reasons.end());
  tree["reasons"] = reasons;
  tree["urgency"] =
      standing.urgency ? Tree(std::string(urgency_name(*standing.urgency))) : Tree(nullptr);
  tree["deed"] = standing.deed ? Tree(standing.deed->words) : Tree(nullptr);
  tree["next_deed"] = standing.next ? Tree(standing.next->words) : Tree(nullptr);
  tree["next_date"] = standing.next_date ? json_value(standing.next_date->at) : Tree(nullptr);
  tree["next_date_is"] = standing.next_date ? Tree(standing.next_date->what) : Tree(nullptr);
  tree["recomputing"] = standing.recomputing;
}

}  // namespace torpor::daemon

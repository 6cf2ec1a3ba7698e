#include "config/cultures.h"

#include <fmt/format.h>

#include <charconv>
#include <map>
#include <optional>

#include "config/yaml_reader.h"

namespace torpor::config {
namespace {

using rules::culture::parameter_facts;
using rules::culture::ParameterFacts;
using rules::culture::Profile;

std::vector<std::string> parameter_keys() {
  std::vector<std::string> keys;
  for (const ParameterFacts& facts : parameter_facts()) keys.emplace_back(facts.key);
  return keys;
}

std::optional<double> number_in(const Field& field, const ParameterFacts& facts) {
  const auto word = field.word(fmt::format("a number in {}", facts.unit));
  if (!word) return std::nullopt;
  double value = 0.0;
  const auto [end, error] = std::from_chars(word->data(), word->data() + word->size(), value);
  if (error != std::errc{} || end != word->data() + word->size()) {
    field.fault_expected(
        fmt::format("a number in {} between {} and {}", facts.unit, facts.lowest, facts.highest));
    return std::nullopt;
  }
  return value;
}

void read_parameter(const Field& field, const ParameterFacts& facts, Profile& profile) {
  const auto take = [&](double cautious, double likely, double hopeful) {
    if (const auto set = profile.set(facts.key, cautious, likely, hopeful); !set) {
      field.fault(set.error());
    }
  };
  if (field.is(YamlNode::Kind::word)) {
    if (const auto value = number_in(field, facts)) take(*value, *value, *value);
    return;
  }
  auto sets = field.mapping("a number, or {cautious: ..., likely: ..., hopeful: ...}");
  if (!sets) return;
  std::vector<double> values;
  for (const char* set : {"cautious", "likely", "hopeful"}) {
    const auto value = sets->require(set, "give all three, or one number for all");
    if (!value) continue;
    if (const auto number = number_in(*value, facts)) values.push_back(*number);
  }
  sets->refuse_unknown_keys();
  if (values.size() == 3) take(values[0], values[1], values[2]);
}

void read_profile(const Field& field, Profile& profile) {
  auto parameters = field.mapping("parameters of a culture profile");
  if (!parameters) return;
  for (const Field& each : parameters->all()) {
    const ParameterFacts* facts = rules::culture::parameter_named(each.node().key);
    if (facts == nullptr) {
      each.fault(fmt::format("a culture profile has no such parameter{}",
                             hint(each.node().key, parameter_keys())));
      continue;
    }
    read_parameter(each, *facts, profile);
  }
  if (const auto checked = profile.check(); !checked) field.fault(checked.error());
}

bool is_default(const Field& field) { return field.node().key == "default"; }

void read_stages(const Field& field, rules::culture::Profiles& profiles) {
  auto stages = field.mapping("culture profiles by stage, such as `default:` or `imo-2:`");
  if (!stages) return;
  Profile common;
  for (const Field& stage : stages->all()) {
    if (!is_default(stage)) continue;
    read_profile(stage, common);
    profiles.set_default(common);
  }
  for (const Field& stage : stages->all()) {
    if (is_default(stage)) continue;
    Profile own = common;
    read_profile(stage, own);
    profiles.set(stage.node().key, own);
  }
}

}  // namespace

std::vector<Fault> read_cultures(std::string_view text, const std::string& file,
                                 rules::culture::Profiles& profiles) {
  FaultList faults(text, file);
  if (check_characters(faults, kLargestCultures)) {
    if (const auto tree = parse_yaml(faults)) {
      if (auto root = Field(*tree, "", faults).mapping("`cultures:` and profiles below it")) {
        if (const auto cultures = root->require("cultures", "add it and the profiles below it")) {
          read_stages(*cultures, profiles);
        }
        root->refuse_unknown_keys();
      }
    }
  }
  return faults.faults();
}

}  // namespace torpor::config

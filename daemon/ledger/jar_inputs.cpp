#include "daemon/ledger/jar_inputs.h"

namespace torpor::daemon {

rules::Input input_of(const std::string& jar, const JarEvent& event) {
  if (const auto* act = std::get_if<rules::culture::Act>(&event.what)) {
    return rules::JarActInput{jar, event.at, *act};
  }
  return rules::JarObservedInput{jar, event.at, std::get<rules::culture::Observation>(event.what)};
}

rules::JarClosedInput closed_input(const Jar& jar) {
  rules::JarClosedInput input{jar.made.jar, jar.made.stage, jar.recipe()};
  if (jar.split) input.split = {jar.split->from, jar.split->contents};
  return input;
}

void add_inputs_of(const Jar& jar, const std::optional<rules::Spoilage>& spoilage,
                   std::vector<rules::Input>& inputs) {
  const std::string& id = jar.made.jar;
  const Stay& stay = jar.stays.back();
  inputs.emplace_back(rules::JarPlacedInput{id, stay.place, stay.from});
  // Before its model, which may show signs of waking: no notice may say to use a spoiled jar.
  if (spoilage) inputs.emplace_back(rules::JarSpoiledInput{id, spoilage});
  inputs.emplace_back(closed_input(jar));
  for (const JarEvent& event : jar.events) inputs.push_back(input_of(id, event));
}

}  // namespace torpor::daemon

#include "config/cultures.h"

#include <doctest/doctest.h>

namespace torpor::config {
namespace {

std::string culture_faults(std::string_view text) {
  rules::culture::Profiles profiles;
  std::string all;
  for (const Fault& fault : read_cultures(text, "c.yaml", profiles)) {
    all += std::to_string(fault.at.line) + ":" + std::to_string(fault.at.column) + " " +
           fault.message + "\n";
  }
  return all;
}

TEST_CASE("a stage's profile begins as the default and changes what it names") {
  rules::culture::Profiles profiles;
  const auto faults = read_cultures(
      "cultures:\n"
      "  IMO-2:\n"
      "    yeast_rate: 0.05\n"
      "  default:\n"
      "    sign_work: {cautious: 4, likely: 6, hopeful: 9}\n",
      "c.yaml", profiles);
  REQUIRE(faults.empty());
  using namespace rules::culture;
  const auto common = profiles.for_stage("anything");
  const auto own = profiles.for_stage("imo-2");
  CHECK(common->sets[kCautious].sign_work == 4.0);
  CHECK(own->sets[kHopeful].sign_work == 9.0);
  CHECK(own->sets[kCautious].yeast_rate == 0.05);
  CHECK(own->sets[kHopeful].yeast_rate == 0.05);
  CHECK(common->sets[kLikely].yeast_rate == Profile().sets[kLikely].yeast_rate);
}

TEST_CASE("without a file every stage has the built-in profile") {
  const rules::culture::Profiles profiles;
  CHECK(profiles.for_stage("IMO-2") == profiles.for_stage(""));
}

TEST_CASE("what a profile cannot hold is refused where it stands, all at once") {
  CHECK(culture_faults("cultures:\n  default:\n    yeast_rat: 1\n")
            .find("did you mean `yeast_rate`?") != std::string::npos);
  const std::string wrong = culture_faults(
      "cultures:\n"
      "  default:\n"
      "    yeast_rate: much\n"
      "    lag_work: {cautious: 1, likely: 2}\n"
      "    coverage_needed: 2\n");
  CHECK(wrong.find("3:17 ") != std::string::npos);
  CHECK(wrong.find("`hopeful` is missing") != std::string::npos);
  CHECK(wrong.find("coverage_needed is 2 1; it must lie between 0 and 1") != std::string::npos);
  // The cardinal model leaves 0 to 1 when its optimum lies below the middle (Rosso et al. 1993).
  CHECK(culture_faults("cultures:\n  default:\n    yeast_t_opt: 10\n").find("yeast_t_opt is 10") !=
        std::string::npos);
  CHECK(culture_faults("").find("cultures") != std::string::npos);
}

}  // namespace
}  // namespace torpor::config

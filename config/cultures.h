// Culture profiles in YAML: which parameters of the jars' model differ from the built-in ones, for
// all jars or for those of one stage.
//
//   cultures:
//     default:                  # every stage without a profile of its own
//       paper_permeance: {cautious: 9.0e-9, likely: 6.0e-9, hopeful: 4.0e-9}
//     imo-2:                    # a stage, without regard to case; begins as `default`
//       yeast_rate: 0.9         # one number stands for all three sets
//
// Keys, units, ranges and sources are those of rules/culture/profile.h.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "config/fault.h"
#include "rules/culture/profiles.h"

namespace torpor::config {

// Longest text that is read.
inline constexpr std::size_t kLargestCultures = std::size_t{256} * 1024;

// Adds to `profiles` what the text says. The faults found, none where all of it was taken; with
// faults the profiles are not to be used.
[[nodiscard]] std::vector<Fault> read_cultures(std::string_view text, const std::string& file,
                                               rules::culture::Profiles& profiles);

}  // namespace torpor::config

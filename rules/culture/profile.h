// A culture profile: every figure the jar's model takes from outside, in three coherent sets. The
// cautious set sees a jar wake early, the hopeful one late. Plain values; config reads them by key
// from the table below, so a figure without name, unit, range and source cannot exist.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

namespace torpor::rules::culture {

// One coherent set. Units, ranges and sources: parameter_facts().
struct Parameters {
  // Water activity of the mix.
  double norrish_sucrose, norrish_invert;
  double gab_monolayer, gab_c, gab_k;
  double binding_share, activity_error;
  double rice_dry_share, rice_solubles;
  double dry_cooked_moisture, firm_cooked_moisture, soft_cooked_moisture;
  double white_water, white_invert;
  double brown_water, brown_invert, brown_other;
  double raw_water, raw_invert, raw_other;
  double starch_to_glucose, inversion_early, inversion_early_days, inversion_monthly;
  // The packed mass and its layers.
  double packed_density, topping_density, water_diffusivity, exchange_capacity;
  // The mouth. Permeances: the cautious set holds the largest, the hopeful one the least.
  double tissue_permeance, cloth_permeance, paper_permeance, kraft_permeance;
  double double_kraft_permeance, waxed_paper_permeance, film_permeance;
  double lid_turned_back_permeance, tight_lid_permeance, airlock_permeance;
  double damp_paper_gain, boundary_transfer, headspace_height, mouth_diameter;
  double crust_density, crust_vapour_share, humidity_error, dew_drip_share;
  // Heat.
  double film_coefficient, contents_conductivity, contents_heat_capacity;
  double glass_share, lid_share;
  // Growth. Temperatures in degC, activities 0-1, rates per hour.
  double yeast_t_min, yeast_t_opt, yeast_t_max, yeast_a_min, yeast_a_opt, yeast_rate;
  double lacto_t_min, lacto_t_opt, lacto_t_max, lacto_a_min, lacto_a_opt, lacto_rate;
  double mould_t_min, mould_t_opt, mould_t_max, mould_a_min, mould_a_opt, mould_rate;
  double osmo_t_min, osmo_t_opt, osmo_t_max, osmo_a_min, osmo_a_opt, osmo_rate;
  double lag_work, sign_work, progress_half_life;
  // Settling, harm, trust.
  double settling_days, settling_temperature;
  double heat_45_hours, heat_40_hours, untested_age;
  double self_heating_allowance, self_heating_limit;
  double scale_error, scale_error_share, headspace_weight;
  double uncovered_humidity, uncovered_warmth, uncovered_temperature;
  double coverage_days, coverage_needed;
};

// What is known of one parameter: its three default values, the range a profile may set, and why.
struct ParameterFacts {
  std::string_view key;  // as in a profile's YAML; equals the field's name
  double Parameters::*field;
  std::string_view unit;  // "1" for a pure number
  double cautious, likely, hopeful;
  double lowest, highest;   // closed
  std::string_view source;  // its marks: at the top of the table, profile.cpp
};

// The table, in the order of the struct.
[[nodiscard]] std::span<const ParameterFacts> parameter_facts();
[[nodiscard]] const ParameterFacts* parameter_named(std::string_view key);

inline constexpr std::size_t kMembers = 3;
enum Set : std::size_t { kCautious = 0, kLikely = 1, kHopeful = 2 };

struct Profile {
  // Starts with the table's defaults.
  Profile();
  std::array<Parameters, kMembers> sets;

  // Replaces one parameter in all three sets. Error: an unknown key, a value that is not finite or
  // lies outside the range; the sentence names what is allowed.
  [[nodiscard]] tl::expected<void, std::string> set(std::string_view key, double cautious,
                                                    double likely, double hopeful);
  // What the model needs beyond single ranges: each guild's t_min < t_opt < t_max with t_opt above
  // the middle (else the cardinal model leaves 0-1), a_min < a_opt < 1. Check after the last set().
  [[nodiscard]] tl::expected<void, std::string> check() const;
};

}  // namespace torpor::rules::culture

#include "rules/culture/mouth.h"

#include <algorithm>
#include <cmath>

#include "rules/air/psychrometrics.h"

namespace torpor::rules::culture {
namespace {

// Specific gas constant of water vapour, J/(kg K): 8.314462618 / 0.01801528.
constexpr double kVapourGasConstant = 461.523;
// A passage below this counts as closed; keeps 1/permeance finite for a profile's 0.
constexpr double kLeastPermeance = 1e-15;

using P = Parameters;
constexpr CoverFacts kCoverFacts[kCovers] = {
    {"tissue", &P::tissue_permeance, true, true, true},
    {"cloth", &P::cloth_permeance, true, true, true},
    {"paper", &P::paper_permeance, true, true, true},
    {"kraft", &P::kraft_permeance, true, true, true},
    {"double kraft", &P::double_kraft_permeance, true, true, true},
    {"waxed paper", &P::waxed_paper_permeance, false, true, true},
    // Below: the culture's own carbon dioxide fills the headspace, too little air for moulds.
    {"film", &P::film_permeance, false, false, true},
    {"lid turned back", &P::lid_turned_back_permeance, false, false, true},
    {"tight lid", &P::tight_lid_permeance, false, false, false},
    {"airlock", &P::airlock_permeance, false, false, true},
};

}  // namespace

const CoverFacts& facts(Cover cover) { return kCoverFacts[static_cast<std::size_t>(cover)]; }

std::optional<Cover> cover_named(std::string_view name) {
  for (std::size_t i = 0; i < kCovers; ++i) {
    if (kCoverFacts[i].name == name) return static_cast<Cover>(i);
  }
  return std::nullopt;
}

double vapour_diffusivity(Celsius temperature) {
  return 1.87e-10 * std::pow(temperature.value() + air::kZeroCelsius, 2.072);
}

double still_air_passage(Celsius temperature) {
  return vapour_diffusivity(temperature) /
         (kVapourGasConstant * (temperature.value() + air::kZeroCelsius));
}

double stefan_factor(Pascal one_end, Pascal other_end, Pascal total) {
  const double one = total.value() - one_end.value();
  const double other = total.value() - other_end.value();
  const double gap = one - other;
  // Near equal ends the quotient of differences loses its digits; the mean is exact to (gap/one)^2.
  if (std::abs(gap) < 1e-4 * one) return 2.0 * total.value() / (one + other);
  return total.value() * std::log(one / other) / gap;
}

double vapour_conductance(const Mouth& mouth, Celsius temperature, const Parameters& set) {
  const double air = still_air_passage(temperature);
  const double kelvin = temperature.value() + air::kZeroCelsius;
  double resistance = mouth.headspace / air + kVapourGasConstant * kelvin / set.boundary_transfer;
  if (!mouth.wet_cover) resistance += 1.0 / std::max(mouth.permeance, kLeastPermeance);
  resistance /= mouth.area;
  if (mouth.crust > 0.0) {
    resistance += mouth.crust / (set.crust_vapour_share * air * mouth.surface);
  }
  return 1000.0 / resistance;
}

double damp_paper_factor(double humidity, const Parameters& set) {
  constexpr double kDry = 0.7;
  constexpr double kDamp = 0.9;
  const double share = std::clamp((humidity - kDry) / (kDamp - kDry), 0.0, 1.0);
  return 1.0 + share * (set.damp_paper_gain - 1.0);
}

}  // namespace torpor::rules::culture

// Water vapour through a jar's mouth: cover, still air of the headspace, dried crust and outer
// boundary layer in series. Works in both directions.
#pragma once

#include <optional>
#include <string_view>

#include "rules/culture/profile.h"
#include "sensors/quantity.h"

namespace torpor::rules::culture {

// What closes the mouth. Stored: do not renumber.
enum class Cover {
  tissue,
  cloth,
  paper,
  kraft,
  double_kraft,
  waxed_paper,
  film,
  lid_turned_back,
  tight_lid,
  airlock,
};
inline constexpr std::size_t kCovers = 10;

struct CoverFacts {
  std::string_view name;  // as told: "double kraft"
  double Parameters::*permeance;
  bool hygroscopic;  // paper and cloth pass more when damp, and nothing holds when wet
  bool airy;         // air enough reaches the surface for moulds
  bool vents_gas;    // gas of a working culture gets out
};
[[nodiscard]] const CoverFacts& facts(Cover cover);
[[nodiscard]] std::optional<Cover> cover_named(std::string_view name);

// Diffusivity of water vapour in air at 1 atm, m2/s. Marrero & Mason 1972, J. Phys. Chem. Ref. Data
// 1:3, 1.87e-10 T^2.072 (from memory), 282-450 K; +/-4 %.
[[nodiscard]] double vapour_diffusivity(Celsius temperature);
// Vapour passage of still air, kg/(m s Pa): D/(Rv T).
[[nodiscard]] double still_air_passage(Celsius temperature);
// Stefan's factor for diffusion through a stagnant gas: total over the log mean of its pressures.
[[nodiscard]] double stefan_factor(Pascal one_end, Pascal other_end, Pascal total);

// The mouth at one moment.
struct Mouth {
  double area = 0.0;       // m2, of the opening
  double surface = 0.0;    // m2, of the contents, where the crust lies
  double headspace = 0.0;  // m of still air above the surface
  double permeance = 0.0;  // of the cover as it is, kg/(m2 s Pa)
  bool wet_cover = false;  // soaked paper holds nothing back
  double crust = 0.0;      // m of dried crust
};
// g per second and pascal of difference, Stefan's factor left out.
[[nodiscard]] double vapour_conductance(const Mouth& mouth, Celsius temperature,
                                        const Parameters& set);
// Times which hygroscopic paper's permeance grows at an outside humidity (0-1): 1 up to .7, linear
// to damp_paper_gain at .9, level above.
[[nodiscard]] double damp_paper_factor(double humidity, const Parameters& set);

}  // namespace torpor::rules::culture

#include "rules/culture/profile.h"

#include <fmt/format.h>

#include <cmath>

namespace torpor::rules::culture {
namespace {

// Sources in short. (S): the source's text was seen, mostly an excerpt; (M): quoted from memory;
// (C): computed from the formula named. Without a mark: our own default, without a source,
// corrected by field weighings and wake tests.
constexpr ParameterFacts kParameterFacts[] = {
    {"norrish_sucrose", &Parameters::norrish_sucrose, "1", 6.47, 6.47, 6.47, 5.9, 6.6,
     "Chirife, Favetto & Ferro Fontan 1982 (M); Norrish 1966 gave 5.99"},
    {"norrish_invert", &Parameters::norrish_invert, "1", 2.25, 2.25, 2.25, 1.6, 2.5,
     "glucose and fructose alike: Chirife et al. 1982 (M)"},
    {"gab_monolayer", &Parameters::gab_monolayer, "g/g", 0.0800, 0.0800, 0.0800, 0.05, 0.13,
     "rice starch, desorption, 25 °C: doi 10.13386/j.issn1002-0306.2014.10.036 (S)"},
    {"gab_c", &Parameters::gab_c, "1", 36.43, 36.43, 36.43, 5, 60, "as gab_monolayer"},
    {"gab_k", &Parameters::gab_k, "1", 0.7646, 0.7646, 0.7646, 0.6, 0.9,
     "as gab_monolayer; fitted for activities .11-.90"},
    {"binding_share", &Parameters::binding_share, "1", 0.75, 1.0, 1.0, 0, 1,
     "the isotherm binds too much above .9; the cautious set trusts three quarters of it"},
    {"activity_error", &Parameters::activity_error, "1", 0.006, 0.0, -0.006, -0.03, 0.03,
     "relative; what is left of the model error of .015 when the other parameters have spread"},
    {"rice_dry_share", &Parameters::rice_dry_share, "g/g", 0.815, 0.83, 0.85, 0.7, 0.9,
     "dry matter per raw rice: .87 less what the culture respired; .80-.87, of which a set takes "
     "60 %"},
    {"rice_solubles", &Parameters::rice_solubles, "g/g", 0.003, 0.005, 0.008, 0.0005, 0.03,
     "salts and small sugars of cooked rice, counted as invert (M, weak)"},
    {"dry_cooked_moisture", &Parameters::dry_cooked_moisture, "g/g", 0.57, 0.535, 0.50, 0.35, 0.75,
     "word range dry 50-57 %"},
    {"firm_cooked_moisture", &Parameters::firm_cooked_moisture, "g/g", 0.63, 0.60, 0.57, 0.35, 0.8,
     "word range firm 57-63 %"},
    {"soft_cooked_moisture", &Parameters::soft_cooked_moisture, "g/g", 0.70, 0.665, 0.63, 0.35,
     0.85, "word range soft 63-70 %"},
    {"white_water", &Parameters::white_water, "g/g", 0.0005, 0.0005, 0.0005, 0, 0.01,
     "refined sugar (M)"},
    {"white_invert", &Parameters::white_invert, "g/g", 0.0005, 0.0005, 0.0005, 0.0001, 0.01,
     "refined sugar (M)"},
    {"brown_water", &Parameters::brown_water, "g/g", 0.0177, 0.0134, 0.0134, 0, 0.06,
     "USDA 19334: 1.34 (M), older table 1.77 (S)"},
    {"brown_invert", &Parameters::brown_invert, "g/g", 0.0246, 0.0246, 0.0246, 0.0001, 0.1,
     "USDA 19334 glucose 1.35 + fructose 1.11 (M)"},
    {"brown_other", &Parameters::brown_other, "g/g", 0.0164, 0.0164, 0.0164, 0, 0.1,
     "USDA 19334, the rest to 100 %: ash and others, taken as inert"},
    {"raw_water", &Parameters::raw_water, "g/g", 0.08, 0.04, 0.02, 0, 0.12, "jaggery, panela (M)"},
    {"raw_invert", &Parameters::raw_invert, "g/g", 0.03, 0.08, 0.15, 0.0001, 0.25,
     "jaggery, panela (M)"},
    {"raw_other", &Parameters::raw_other, "g/g", 0.03, 0.03, 0.03, 0, 0.1,
     "jaggery, panela: ash, fibre (M, weak)"},
    {"starch_to_glucose", &Parameters::starch_to_glucose, "g/g", 0.02, 0.05, 0.09, 0, 0.3,
     "share of starch turned before mixing; 0-15 %, of which a set takes 60 %"},
    {"inversion_early", &Parameters::inversion_early, "g/g", 0.03, 0.08, 0.14, 0, 0.5,
     "share of sucrose inverted in the first inversion_early_days; 0-20 %, of which a set takes 60 "
     "%"},
    {"inversion_early_days", &Parameters::inversion_early_days, "d", 60, 60, 60, 10, 180,
     "with inversion_early"},
    {"inversion_monthly", &Parameters::inversion_monthly, "g/g", 0.004, 0.01, 0.02, 0, 0.1,
     "share of sucrose inverted in each 30 d after that"},
    {"packed_density", &Parameters::packed_density, "kg/m3", 1150, 1150, 1150, 900, 1400,
     "real packed mix 1000-1300 (M)"},
    {"topping_density", &Parameters::topping_density, "kg/m3", 800, 800, 800, 600, 1100,
     "brown sugar loose 150 g to packed 215 g a cup (M)"},
    {"water_diffusivity", &Parameters::water_diffusivity, "m2/s", 1e-10, 1e-10, 1e-10, 1e-11, 1e-9,
     "water in the packed mass, .3-3e-10"},
    {"exchange_capacity", &Parameters::exchange_capacity, "kg/m3", 500, 500, 500, 200, 3000,
     "water per unit of activity: 300-500 in a drying mix, 1640 in unsaturated syrup (C)"},
    {"tissue_permeance", &Parameters::tissue_permeance, "kg/(m2 s Pa)", 5e-8, 2e-8, 1e-8, 1e-9,
     1e-7, "open tissue, towel, filter paper (M, weak)"},
    {"cloth_permeance", &Parameters::cloth_permeance, "kg/(m2 s Pa)", 5e-8, 2e-8, 1e-8, 1e-9, 1e-7,
     "as tissue (M, weak)"},
    {"paper_permeance", &Parameters::paper_permeance, "kg/(m2 s Pa)", 5e-8, 9e-9, 2e-9, 5e-10, 1e-7,
     "plain 'paper' spans towel to kraft"},
    {"kraft_permeance", &Parameters::kraft_permeance, "kg/(m2 s Pa)", 8e-9, 4e-9, 2e-9, 5e-10, 2e-8,
     "single kraft, newsprint (M, weak); TAPPI T448 ranges 2.5-8.2e-9"},
    {"double_kraft_permeance", &Parameters::double_kraft_permeance, "kg/(m2 s Pa)", 3e-9, 2e-9,
     1.5e-9, 3e-10, 1e-8, "ASHRAE Fundamentals 31-42 perm (M)"},
    {"waxed_paper_permeance", &Parameters::waxed_paper_permeance, "kg/(m2 s Pa)", 1e-9, 3e-10,
     5e-11, 1e-11, 3e-9, "(M, weak)"},
    {"film_permeance", &Parameters::film_permeance, "kg/(m2 s Pa)", 4e-11, 1.5e-11, 7e-12, 1e-12,
     2e-10, "(M, weak)"},
    {"lid_turned_back_permeance", &Parameters::lid_turned_back_permeance, "kg/(m2 s Pa)", 2e-10,
     3e-11, 5e-12, 1e-12, 1e-9, "(M, weak)"},
    {"tight_lid_permeance", &Parameters::tight_lid_permeance, "kg/(m2 s Pa)", 5e-12, 1e-12, 0, 0,
     2e-11, "(M, weak)"},
    {"airlock_permeance", &Parameters::airlock_permeance, "kg/(m2 s Pa)", 5e-12, 1e-12, 0, 0, 2e-11,
     "(M, weak)"},
    {"damp_paper_gain", &Parameters::damp_paper_gain, "1", 4, 2, 1, 1, 6,
     "permeance of hygroscopic paper at 90 % humidity over that below 70 %"},
    {"boundary_transfer", &Parameters::boundary_transfer, "m/s", 0.003, 0.003, 0.003, 0.001, 0.01,
     "h_c 3 W/m2K by the Lewis relation .0028, h_c 5 .0047 (C)"},
    {"headspace_height", &Parameters::headspace_height, "m", 0.05, 0.05, 0.05, 0.005, 0.3,
     "where the vessel's volume was not told"},
    {"mouth_diameter", &Parameters::mouth_diameter, "m", 0.11, 0.09, 0.07, 0.02, 0.4,
     "where the mouth was not told"},
    {"crust_density", &Parameters::crust_density, "kg/m3", 400, 400, 400, 150, 1000,
     "water that left, by volume of dried crust"},
    {"crust_vapour_share", &Parameters::crust_vapour_share, "1", 0.1, 0.1, 0.1, 0.03, 0.3,
     "vapour passage of crust over that of still air"},
    {"humidity_error", &Parameters::humidity_error, "1", 0.03, 0.0, -0.03, -0.1, 0.1,
     "sensor error 3 % RH: the gap between dormant and awake"},
    {"dew_drip_share", &Parameters::dew_drip_share, "1", 1.0, 0.5, 0.1, 0, 1,
     "share of what condenses under a cold cover that drips on the surface"},
    {"film_coefficient", &Parameters::film_coefficient, "W/(m2 K)", 10, 8, 6, 3, 25,
     "free convection 3-5 and radiation 5 (M)"},
    {"contents_conductivity", &Parameters::contents_conductivity, "W/(m K)", 0.39, 0.39, 0.39, 0.15,
     0.65, "Choi & Okos 1986 for 60 % rice 1:1 (C)"},
    {"contents_heat_capacity", &Parameters::contents_heat_capacity, "J/(kg K)", 2386, 2386, 2386,
     1500, 3800, "Choi & Okos 1986 for 60 % rice 1:1 (C)"},
    {"glass_share", &Parameters::glass_share, "1", 0.3, 0.3, 0.3, 0, 0.9,
     "how far the glass follows the contents instead of the air"},
    {"lid_share", &Parameters::lid_share, "1", 0.0, 0.1, 0.3, 0, 0.9,
     "how far the lid follows the contents instead of the air"},
    {"yeast_t_min", &Parameters::yeast_t_min, "°C", 2.8, 2.8, 2.8, -5, 15, "S. cerevisiae (M)"},
    {"yeast_t_opt", &Parameters::yeast_t_opt, "°C", 32.3, 32.3, 32.3, 20, 40,
     "S. cerevisiae: Salvado 2011, PMC3067424 (S)"},
    {"yeast_t_max", &Parameters::yeast_t_max, "°C", 45.4, 45.4, 45.4, 35, 50,
     "S. cerevisiae: Salvado 2011, PMC3067424 (S)"},
    {"yeast_a_min", &Parameters::yeast_a_min, "1", 0.87, 0.88, 0.89, 0.8, 0.96,
     "many yeasts .87: Beuchat 1981 (S); .86-.90"},
    {"yeast_a_opt", &Parameters::yeast_a_opt, "1", 0.99, 0.99, 0.99, 0.9, 0.999, "(M)"},
    {"yeast_rate", &Parameters::yeast_rate, "1/h", 0.45, 0.45, 0.45, 0.05, 0.8,
     "S. cerevisiae .4-.5 (M)"},
    {"lacto_t_min", &Parameters::lacto_t_min, "°C", 4.0, 4.0, 4.0, -5, 15,
     "L. plantarum: Zwietering 1991 (M)"},
    {"lacto_t_opt", &Parameters::lacto_t_opt, "°C", 34, 34, 34, 20, 42, "(M)"},
    {"lacto_t_max", &Parameters::lacto_t_max, "°C", 43.7, 43.7, 43.7, 35, 55,
     "L. plantarum: Zwietering 1991 (M)"},
    {"lacto_a_min", &Parameters::lacto_a_min, "1", 0.915, 0.92, 0.925, 0.85, 0.97,
     "Lactobacillus .91: Beuchat 1981 (S); .91-.93"},
    {"lacto_a_opt", &Parameters::lacto_a_opt, "1", 0.99, 0.99, 0.99, 0.9, 0.999, "(M)"},
    {"lacto_rate", &Parameters::lacto_rate, "1/h", 1.0, 1.0, 1.0, 0.1, 2.0,
     "L. plantarum in broth (M)"},
    {"mould_t_min", &Parameters::mould_t_min, "°C", 5, 5, 5, -5, 15,
     "between P. chrysogenum 4 and A. niger 8: Pitt & Hocking (M)"},
    {"mould_t_opt", &Parameters::mould_t_opt, "°C", 30, 30, 30, 20, 40,
     "between P. chrysogenum 23 and A. niger 36 (M)"},
    {"mould_t_max", &Parameters::mould_t_max, "°C", 42, 42, 42, 30, 50,
     "between P. chrysogenum 37 and A. niger 46 (M)"},
    {"mould_a_min", &Parameters::mould_a_min, "1", 0.84, 0.85, 0.865, 0.6, 0.9,
     "in competition on the packed mass; the .77-.80 of the laboratory would cover every saturated "
     "jar in weeks, which practice refutes"},
    {"mould_a_opt", &Parameters::mould_a_opt, "1", 0.98, 0.98, 0.98, 0.9, 0.999,
     "Pitt & Hocking (M)"},
    {"mould_rate", &Parameters::mould_rate, "1/h", 0.18, 0.14, 0.08, 0.02, 0.4,
     "visible in 3-5 d at its best, as on bread (M, weak)"},
    {"osmo_t_min", &Parameters::osmo_t_min, "°C", 5, 5, 5, -5, 15,
     "Z. rouxii: Jermini & Schmidt-Lorenz 1987 (S), rounded"},
    {"osmo_t_opt", &Parameters::osmo_t_opt, "°C", 32, 32, 32, 20, 40,
     "Z. rouxii at .92-.87: Jermini & Schmidt-Lorenz 1987 (S)"},
    {"osmo_t_max", &Parameters::osmo_t_max, "°C", 42, 42, 42, 35, 50,
     "Z. rouxii with sugar: Jermini & Schmidt-Lorenz 1987 (S)"},
    {"osmo_a_min", &Parameters::osmo_a_min, "1", 0.78, 0.82, 0.86, 0.6, 0.9,
     "in the packed mass, not the .62 of syrup; fits practice"},
    {"osmo_a_opt", &Parameters::osmo_a_opt, "1", 0.96, 0.96, 0.96, 0.9, 0.999,
     "Z. rouxii .96-.97: Restaino 1983 (S)"},
    {"osmo_rate", &Parameters::osmo_rate, "1/h", 0.20, 0.12, 0.08, 0.01, 0.5,
     "in the packed mass; a broth's .35 is no guide"},
    {"lag_work", &Parameters::lag_work, "1", 1, 3, 5, 0, 10,
     "work of the lag, mu times lag: h0 1-4 (M)"},
    {"sign_work", &Parameters::sign_work, "1", 6, 8, 11, 2, 20,
     "ln of cells at the first visible sign over cells at rest"},
    {"progress_half_life", &Parameters::progress_half_life, "d", 0, 30, 7, 0, 3650,
     "decay of progress while the rate is zero; 0: never"},
    {"settling_days", &Parameters::settling_days, "d", 21, 14, 7, 1, 60, "from closing"},
    {"settling_temperature", &Parameters::settling_temperature, "°C", 18, 18, 18, 0, 40,
     "below it settling takes longer, twice as long 10 K lower"},
    {"heat_45_hours", &Parameters::heat_45_hours, "h", 2, 4, 8, 0.1, 100,
     "above 45 °C: may have killed it"},
    {"heat_40_hours", &Parameters::heat_40_hours, "h", 48, 72, 120, 1, 1000,
     "above 40 °C: may have killed it"},
    {"untested_age", &Parameters::untested_age, "d", 270, 365, 540, 30, 3650,
     "age without a wake test (wide)"},
    {"self_heating_allowance", &Parameters::self_heating_allowance, "K", 0.5, 0.5, 0.5, 0.1, 3,
     "half of the 1 K that own warmth means: Page 1954"},
    {"self_heating_limit", &Parameters::self_heating_limit, "K h", 4, 4, 4, 1, 50,
     "1 K of own warmth shows after 8 h, an offset of .5 K never"},
    {"scale_error", &Parameters::scale_error, "g", 2, 2, 2, 0.01, 100,
     "the larger of this and scale_error_share"},
    {"scale_error_share", &Parameters::scale_error_share, "g/g", 0.001, 0.001, 0.001, 0, 0.05,
     "of the gross weight"},
    {"headspace_weight", &Parameters::headspace_weight, "1", 0.3, 0.3, 0.3, 0, 1,
     "model .02 against sensor .03: .02^2/(.02^2+.03^2) (C)"},
    {"uncovered_humidity", &Parameters::uncovered_humidity, "1", 0.90, 0, 0, 0, 1,
     "humidity assumed while no sensor speaks; 0: no exchange assumed"},
    {"uncovered_warmth", &Parameters::uncovered_warmth, "K", 3, 0, 0, 0, 15,
     "above the last day's air while no sensor speaks"},
    {"uncovered_temperature", &Parameters::uncovered_temperature, "°C", 20, 20, 20, 0, 40,
     "while no sensor has ever spoken"},
    {"coverage_days", &Parameters::coverage_days, "d", 7, 7, 7, 1, 60,
     "window of the coverage that decides 'unwatched'"},
    {"coverage_needed", &Parameters::coverage_needed, "1", 0.5, 0.5, 0.5, 0, 1,
     "share of it with trusted air"},
};

struct GuildFields {
  std::string_view name;
  double Parameters::*t_min, Parameters::*t_opt, Parameters::*t_max;
  double Parameters::*a_min, Parameters::*a_opt;
};
constexpr GuildFields kGuildFields[] = {
    {"yeast", &Parameters::yeast_t_min, &Parameters::yeast_t_opt, &Parameters::yeast_t_max,
     &Parameters::yeast_a_min, &Parameters::yeast_a_opt},
    {"lacto", &Parameters::lacto_t_min, &Parameters::lacto_t_opt, &Parameters::lacto_t_max,
     &Parameters::lacto_a_min, &Parameters::lacto_a_opt},
    {"mould", &Parameters::mould_t_min, &Parameters::mould_t_opt, &Parameters::mould_t_max,
     &Parameters::mould_a_min, &Parameters::mould_a_opt},
    {"osmo", &Parameters::osmo_t_min, &Parameters::osmo_t_opt, &Parameters::osmo_t_max,
     &Parameters::osmo_a_min, &Parameters::osmo_a_opt},
};

tl::expected<void, std::string> check_guild(const Parameters& set, const GuildFields& guild) {
  const double t_min = set.*guild.t_min;
  const double t_opt = set.*guild.t_opt;
  const double t_max = set.*guild.t_max;
  if (!(t_min < t_opt && t_opt < t_max) || t_opt <= (t_min + t_max) / 2) {
    return tl::unexpected(fmt::format(
        "{0}_t_opt is {1} °C; it must lie above {2} °C, the middle between {0}_t_min and "
        "{0}_t_max, and below {0}_t_max ({3} °C)",
        guild.name, t_opt, (t_min + t_max) / 2, t_max));
  }
  if (!(set.*guild.a_min < set.*guild.a_opt)) {
    return tl::unexpected(fmt::format("{0}_a_min is {1}; it must be less than {0}_a_opt ({2})",
                                      guild.name, set.*guild.a_min, set.*guild.a_opt));
  }
  return {};
}

}  // namespace

std::span<const ParameterFacts> parameter_facts() { return kParameterFacts; }

const ParameterFacts* parameter_named(std::string_view key) {
  for (const ParameterFacts& facts : kParameterFacts) {
    if (facts.key == key) return &facts;
  }
  return nullptr;
}

Profile::Profile() {
  for (const ParameterFacts& facts : kParameterFacts) {
    sets[kCautious].*facts.field = facts.cautious;
    sets[kLikely].*facts.field = facts.likely;
    sets[kHopeful].*facts.field = facts.hopeful;
  }
}

tl::expected<void, std::string> Profile::set(std::string_view key, double cautious, double likely,
                                             double hopeful) {
  const ParameterFacts* facts = parameter_named(key);
  if (facts == nullptr) {
    return tl::unexpected(fmt::format("a culture profile has no parameter '{}'", key));
  }
  for (const double value : {cautious, likely, hopeful}) {
    if (!(value >= facts->lowest && value <= facts->highest)) {
      return tl::unexpected(fmt::format("{} is {} {}; it must lie between {} and {}", key, value,
                                        facts->unit, facts->lowest, facts->highest));
    }
  }
  sets[kCautious].*facts->field = cautious;
  sets[kLikely].*facts->field = likely;
  sets[kHopeful].*facts->field = hopeful;
  return {};
}

tl::expected<void, std::string> Profile::check() const {
  for (const Parameters& set : sets) {
    for (const GuildFields& guild : kGuildFields) {
      if (auto checked = check_guild(set, guild); !checked) return checked;
    }
  }
  return {};
}

}  // namespace torpor::rules::culture

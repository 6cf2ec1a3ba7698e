#include "sensors/salts.h"

#include <algorithm>
#include <array>

namespace torpor {
namespace {

// Coefficients from memory of Greenspan's table 1, checked against entries of his table 2 that were
// seen (see the test). Copies of the paper in circulation print a1 of lithium chloride and of
// potassium carbonate with a minus; that contradicts the paper's own table 2. Uncertainties at
// 25 degC from memory. The range is cut to temperatures at which anyone tests a sensor.
constexpr std::array kSalts = {
    SaltFacts{
        Salt::lithium_chloride, "lithium chloride", "LiCl", 11.2323, 0.00824245, -2.14890e-4, 0.0,
        0.0, 50.0, 0.27,
        "harmful when swallowed and to the skin: wear gloves, keep it from food and children"},
    SaltFacts{Salt::magnesium_chloride, "magnesium chloride", "MgCl2", 33.6686, -0.00797397,
              -1.08988e-3, 0.0, 0.0, 50.0, 0.16, ""},
    SaltFacts{Salt::potassium_carbonate, "potassium carbonate", "K2CO3", 43.1315, 0.00147523, 0.0,
              0.0, 0.0, 30.0, 0.39,
              "caustic to eyes and skin: wear gloves and glasses, keep it from food and children"},
    SaltFacts{Salt::table_salt, "table salt", "NaCl", 75.5164, 0.0398321, -2.65459e-3, 2.848e-5,
              0.0, 50.0, 0.12, ""},
    SaltFacts{Salt::potassium_chloride, "potassium chloride", "KCl", 88.6190, -0.193340, 8.99706e-4,
              0.0, 0.0, 50.0, 0.26, ""},
    SaltFacts{Salt::potassium_nitrate, "potassium nitrate", "KNO3", 96.3361, 0.0112371, -4.84514e-3,
              0.0, 0.0, 50.0, 0.55,
              "it feeds fire: keep it from flames and from what burns, and from food and children"},
    SaltFacts{Salt::potassium_sulphate, "potassium sulphate", "K2SO4", 98.7792, -0.0590502, 0.0,
              0.0, 0.0, 50.0, 0.45, ""},
};

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

bool same_letters(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](char x, char y) { return lower(x) == lower(y); });
}

}  // namespace

std::span<const SaltFacts> salts() { return kSalts; }

const SaltFacts& facts(Salt salt) { return kSalts[static_cast<std::size_t>(salt)]; }

std::optional<Salt> salt_named(std::string_view name) {
  for (const SaltFacts& row : kSalts) {
    if (same_letters(name, row.name) || same_letters(name, row.formula)) return row.salt;
  }
  return std::nullopt;
}

std::optional<Percent> humidity_over(Salt salt, Celsius temperature) {
  const SaltFacts& row = facts(salt);
  const double t = temperature.value();
  if (!(t >= row.coldest && t <= row.hottest)) return std::nullopt;
  return Percent(row.a0 + (row.a1 + (row.a2 + row.a3 * t) * t) * t);
}

}  // namespace torpor

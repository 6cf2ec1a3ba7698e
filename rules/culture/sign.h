// What a keeper can see, smell or feel, and what each sign means for sleep.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace torpor::rules::culture {

// Stored: do not renumber. The words are those of the tell sentences; gas_loss and self_heating are
// found by the model itself.
enum class Sign : std::uint8_t {
  bubbling,
  rising,
  sinking,
  syrup_on_top,
  crystals,
  crust,
  wet_surface,
  drops_under_lid,
  warm,
  pressure,
  sweet_smell,
  alcohol_smell,
  sour_smell,
  rotten_smell,
  white_growth,
  green_growth,
  black_growth,
  pink_growth,
  insects,
  all_well,
  gas_loss,
  self_heating,
  leaking,
  cracked,
  frozen,
  larvae,
};
inline constexpr std::size_t kSigns = 26;
inline constexpr std::size_t kToldSigns = 24;  // that a keeper can tell

enum class Weight : std::uint8_t {
  none,    // says nothing of waking
  weak,    // two of them make a jar awake
  strong,  // one is enough
};

struct SignFacts {
  std::string_view name;
  Weight weight;
  bool normal_while_settling;
  bool spoils;     // not for use from then on, whatever is seen later
  bool gas;        // of gas: under a lid that holds it no look takes it back
  bool by_keeper;  // else found by the model
};
[[nodiscard]] const SignFacts& facts(Sign sign);
// Only signs a keeper can tell.
[[nodiscard]] std::optional<Sign> sign_named(std::string_view name);

}  // namespace torpor::rules::culture

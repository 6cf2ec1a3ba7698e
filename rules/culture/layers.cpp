#include "rules/culture/layers.h"

#include <algorithm>
#include <cmath>

namespace torpor::rules::culture {
namespace {

// Thin where the air is felt, thick where nothing happens for months.
constexpr std::array<double, kBodyLayers> kBodyShares{0.04, 0.08, 0.16, 0.28, 0.44};
// Less sugar than this on top is dust, not a layer.
constexpr double kLeastTopping = 1.0;
// A water balance closer than this is solved: a thousandth of the best kitchen scale's step, spread
// over a year of hourly steps, is far below it because the balance itself is never carried on.
constexpr double kTolerance = 1e-7;  // g
constexpr int kMostIterations = 30;
// A halved step this often is a 4 ms step: then the layers rest for that long.
constexpr int kMostHalvings = 20;

// Solves a tridiagonal system in place (Thomas). Diagonally dominant here: every diagonal is >= 1
// plus what leaves, the neighbours only take that.
void solve_tridiagonal(std::size_t n, const double* below, double* diagonal, const double* above,
                       double* right) {
  for (std::size_t i = 1; i < n; ++i) {
    const double factor = below[i] / diagonal[i - 1];
    diagonal[i] -= factor * above[i - 1];
    right[i] -= factor * right[i - 1];
  }
  right[n - 1] /= diagonal[n - 1];
  for (std::size_t i = n - 1; i-- > 0;) {
    right[i] = (right[i] - above[i] * right[i + 1]) / diagonal[i];
  }
}

}  // namespace

LayerStack::LayerStack(const Mix& body, const Mix& topping, double area, const Chemistry& chemistry)
    : area_(area) {
  has_topping_ = topping.mass() >= kLeastTopping;
  if (has_topping_) layers_[count_++].mix = topping;
  const Mix mixed = has_topping_ ? body : body + topping;
  for (const double share : kBodyShares) layers_[count_++].mix = share * mixed;
  rebuild(chemistry);
}

double LayerStack::body_activity() const {
  double wettest = 0.0;
  for (const Layer& layer : body()) wettest = std::max(wettest, layer.activity);
  return wettest;
}

Mix LayerStack::whole() const {
  Mix sum;
  for (const Layer& layer : layers()) sum = sum + layer.mix;
  return sum;
}

Mix LayerStack::body_mix() const {
  Mix sum;
  for (const Layer& layer : body()) sum = sum + layer.mix;
  return sum;
}

void LayerStack::rebuild(const Chemistry& chemistry) {
  const Parameters& set = *chemistry.set;
  std::array<double, kMostLayers> thickness{};
  for (std::size_t i = 0; i < count_; ++i) {
    Layer& layer = layers_[i];
    const bool topping = has_topping_ && i == 0;
    const double density = topping ? set.topping_density : set.packed_density;
    thickness[i] = std::max(1e-4, layer.mix.mass() / 1000.0 / (density * area_));
    const Equilibrium found = equilibrium(layer.mix, chemistry);
    layer.syrup_water = std::max(found.syrup_water, 1e-12);
    layer.activity = found.activity;
  }
  const double passage = 1000.0 * set.water_diffusivity * set.exchange_capacity * area_;
  for (std::size_t i = 0; i + 1 < count_; ++i) {
    exchange_[i] = passage / (0.5 * (thickness[i] + thickness[i + 1]));
  }
  if (count_ == 0) return;
  skin_ = passage / (0.5 * thickness[0]);
  skin_activity_ = layers_[0].activity;
}

bool LayerStack::implicit_step(const Outside& outside, double seconds, const Chemistry& chemistry,
                               double& gained) {
  const std::size_t n = count_;
  std::array<double, kMostLayers> syrup{};
  std::array<SyrupState, kMostLayers> state{};
  std::array<double, kMostLayers> below{}, diagonal{}, above{}, residual{}, inflow{};
  for (std::size_t i = 0; i < n; ++i) syrup[i] = layers_[i].syrup_water;
  double last_worst = 1e300;
  double damping = 1.0;
  for (int iteration = 0; iteration < kMostIterations; ++iteration) {
    for (std::size_t i = 0; i < n; ++i) {
      state[i] = syrup_state(layers_[i].mix, syrup[i], chemistry);
      inflow[i] = 0.0;
    }
    const double from_air =
        seconds * outside.conductance * (outside.vapour - state[0].activity * outside.saturation);
    inflow[0] += from_air;
    for (std::size_t i = 0; i + 1 < n; ++i) {
      const double down = seconds * exchange_[i] * (state[i].activity - state[i + 1].activity);
      inflow[i] -= down;
      inflow[i + 1] += down;
    }
    double worst = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
      residual[i] = state[i].water - layers_[i].mix.water - inflow[i];
      worst = std::max(worst, std::abs(residual[i]));
    }
    if (worst < kTolerance) {
      for (std::size_t i = 0; i < n; ++i) {
        if (layers_[i].mix.water + inflow[i] < 0.0) return false;
      }
      for (std::size_t i = 0; i < n; ++i) {
        layers_[i].mix.water += inflow[i];
        layers_[i].syrup_water = syrup[i];
        layers_[i].activity = state[i].activity;
      }
      gained += from_air;
      return true;
    }
    // Between the two sides of the last crystal Newton's method can swing: shorten it then.
    damping = worst < 0.9 * last_worst ? 1.0 : 0.5 * damping;
    last_worst = worst;
    for (std::size_t i = 0; i < n; ++i) {
      const double up = i == 0 ? outside.conductance * outside.saturation : exchange_[i - 1];
      const double down = i + 1 < n ? exchange_[i] : 0.0;
      diagonal[i] = state[i].water_slope + seconds * (up + down) * state[i].activity_slope;
      if (i > 0) below[i] = -seconds * exchange_[i - 1] * state[i - 1].activity_slope;
      if (i + 1 < n) above[i] = -seconds * exchange_[i] * state[i + 1].activity_slope;
    }
    solve_tridiagonal(n, below.data(), diagonal.data(), above.data(), residual.data());
    for (std::size_t i = 0; i < n; ++i) {
      // Syrup stays positive: towards dryness it may fall by at most nine tenths at a time.
      syrup[i] = std::max(syrup[i] - damping * residual[i], 0.1 * syrup[i]);
    }
  }
  return false;
}

double LayerStack::exchange(const Outside& open, double seconds, const Chemistry& chemistry) {
  double gained = 0.0;
  if (count_ == 0 || seconds <= 0.0) return gained;
  // Mouth and skin in series; what the mouth passes is told per pascal, what the skin per activity.
  Outside outside = open;
  outside.conductance = open.conductance * skin_ / (skin_ + open.conductance * open.saturation);
  gained = exchange_layers(outside, seconds, chemistry);
  skin_activity_ = std::clamp(layers_[0].activity + gained / seconds / skin_, 0.0, 1.0);
  return gained;
}

double LayerStack::exchange_layers(const Outside& outside, double seconds,
                                   const Chemistry& chemistry) {
  double gained = 0.0;
  if (implicit_step(outside, seconds, chemistry, gained)) return gained;
  double left = seconds;
  double part = 0.5 * seconds;
  for (int halvings = 1; left > 0.0;) {
    part = std::min(part, left);
    if (implicit_step(outside, part, chemistry, gained)) {
      left -= part;
    } else if (++halvings > kMostHalvings) {
      break;
    } else {
      part *= 0.5;
    }
  }
  return gained;
}

double LayerStack::drip(double grams) {
  if (count_ < 2) return 0.0;
  // A cold lid cannot draw a layer dry within one step.
  constexpr double kMostShare = 0.02;
  Layer& below = layers_[1];
  const double moved = std::clamp(grams, 0.0, kMostShare * below.mix.water);
  below.mix.water -= moved;
  layers_[0].mix.water += moved;
  return moved;
}

double LayerStack::add_water(double grams, const Chemistry& chemistry) {
  if (count_ == 0) return 0.0;
  double left = grams;
  for (std::size_t i = 0; i < count_ && left != 0.0; ++i) {
    // All that comes stays on the surface; what goes is taken down to a tenth of each layer.
    const double part = left > 0.0 ? left : std::max(left, -0.9 * layers_[i].mix.water);
    layers_[i].mix.water += part;
    left -= part;
  }
  rebuild(chemistry);
  return grams - left;
}

double LayerStack::pull_surface_to(double activity, double share, const Chemistry& chemistry) {
  if (count_ == 0) return 0.0;
  Layer& top = layers_[0];
  const double aim = top.activity + share * (activity - top.activity);
  const auto water = water_at_activity(top.mix, aim, chemistry);
  if (!water) return 0.0;
  const double added = *water - top.mix.water;
  // At saturation one activity belongs to a range of waters: never move against the sign of the
  // aim.
  if ((aim > top.activity) != (added > 0.0)) return 0.0;
  top.mix.water = *water;
  rebuild(chemistry);
  return added;
}

void LayerStack::add_topping(const Mix& sugar, const Chemistry& chemistry) {
  if (count_ == 0) return;
  if (!has_topping_) {
    for (std::size_t i = count_; i > 0; --i) layers_[i] = layers_[i - 1];
    layers_[0] = Layer{};
    ++count_;
    has_topping_ = true;
  }
  layers_[0].mix = layers_[0].mix + sugar;
  rebuild(chemistry);
}

void LayerStack::stir_in(const Mix& sugar, const Chemistry& chemistry) {
  if (count_ == 0) return;
  *this = LayerStack(whole() + sugar, Mix{}, area_, chemistry);
}

void LayerStack::remove(double share, const Chemistry& chemistry) {
  for (std::size_t i = 0; i < count_; ++i) layers_[i].mix = (1.0 - share) * layers_[i].mix;
  if (count_ != 0) rebuild(chemistry);
}

void LayerStack::invert_sucrose(double share) {
  for (std::size_t i = has_topping_ ? 1 : 0; i < count_; ++i) {
    Mix& mix = layers_[i].mix;
    const double moles = std::min(share * mix.sucrose / kMolarSucrose, mix.water / kMolarWater);
    mix.sucrose -= moles * kMolarSucrose;
    mix.invert += 2.0 * moles * kMolarHexose;
    mix.water -= moles * kMolarWater;
  }
}

}  // namespace torpor::rules::culture

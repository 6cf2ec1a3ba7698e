// The contents of a jar as layers that exchange water: the topping of unmixed sugar, then the body
// in slices that grow thicker downwards. Water is the only thing that moves by itself.
//
//     air
//   ~~~~~~~~ surface: the topping, or the thinnest slice of the body
//   topping      (absent where there is none)
//   body  4 %
//   body  8 %
//   body 16 %
//   body 28 %
//   body 44 %
#pragma once

#include <array>
#include <span>

#include "rules/culture/mix.h"

namespace torpor::rules::culture {

inline constexpr std::size_t kBodyLayers = 5;
inline constexpr std::size_t kMostLayers = kBodyLayers + 1;

struct Layer {
  Mix mix;
  double syrup_water = 0.0;  // g; where the last solution stood, the next one starts
  double activity = 1.0;     // of that solution
};

class LayerStack {
 public:
  LayerStack() = default;
  // `area`: cross-section of the vessel, m2. A topping below a gram is stirred into the body.
  LayerStack(const Mix& body, const Mix& topping, double area, const Chemistry& chemistry);

  [[nodiscard]] bool empty() const { return count_ == 0; }
  [[nodiscard]] bool has_topping() const { return has_topping_; }
  [[nodiscard]] std::span<const Layer> layers() const { return {layers_.data(), count_}; }
  [[nodiscard]] const Layer& surface() const { return layers_[0]; }
  [[nodiscard]] std::span<const Layer> body() const {
    return layers().subspan(has_topping_ ? 1 : 0);
  }
  // Of the very skin, which the air dries or wets before the layer under it.
  [[nodiscard]] double surface_activity() const { return skin_activity_; }
  // Of the wettest body layer: a jar wakes where it is wettest.
  [[nodiscard]] double body_activity() const;
  [[nodiscard]] Mix whole() const;
  [[nodiscard]] Mix body_mix() const;

  // What the surface sees outside.
  struct Outside {
    double conductance = 0.0;  // g/(s Pa), from the skin outwards
    double vapour = 0.0;       // Pa
    double saturation = 0.0;   // Pa, at the contents' temperature
  };
  // One step of fully implicit exchange between air and layers. Returns the g gained from the air.
  // Water is conserved to rounding whatever happens; a step that will not converge is halved.
  double exchange(const Outside& open, double seconds, const Chemistry& chemistry);

  // Moves up to `grams` of water from below onto the surface (dew that drips). Returns the g moved.
  double drip(double grams);
  // Adds water to the surface, or takes it (negative; never more than it holds). Returns the g.
  double add_water(double grams, const Chemistry& chemistry);
  // Brings the surface to an activity by adding or taking water, a share of the way (0-1). Returns
  // the g added.
  double pull_surface_to(double activity, double share, const Chemistry& chemistry);

  void add_topping(const Mix& sugar, const Chemistry& chemistry);
  void stir_in(const Mix& sugar, const Chemistry& chemistry);
  // Takes that share of every layer out of the jar.
  void remove(double share, const Chemistry& chemistry);
  // Sucrose splits in the body: `share` of it becomes invert, each mole taking one mole of water.
  void invert_sucrose(double share);

  template <class Archive>
  void fields(Archive& archive) {
    archive(count_);
    archive(has_topping_);
    archive(area_);
    archive(skin_);
    archive(skin_activity_);
    for (Layer& layer : layers_) {
      archive(layer.mix.water);
      archive(layer.mix.sucrose);
      archive(layer.mix.invert);
      archive(layer.mix.solids);
      archive(layer.syrup_water);
      archive(layer.activity);
    }
    for (double& exchange : exchange_) archive(exchange);
  }

 private:
  bool implicit_step(const Outside& outside, double seconds, const Chemistry& chemistry,
                     double& gained);
  double exchange_layers(const Outside& outside, double seconds, const Chemistry& chemistry);
  void rebuild(const Chemistry& chemistry);

  std::array<Layer, kMostLayers> layers_{};
  std::array<double, kMostLayers> exchange_{};  // [i]: between i and i+1, g/s per activity
  std::size_t count_ = 0;
  bool has_topping_ = false;
  double area_ = 0.0;
  double skin_ = 1.0;  // g/s per activity, from the middle of the surface layer to its skin
  double skin_activity_ = 1.0;
};

}  // namespace torpor::rules::culture

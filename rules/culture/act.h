// What a person does to a jar and what they see, as the jar's model takes it. All told things carry
// their time beside them.
#pragma once

#include <optional>
#include <variant>
#include <vector>

#include "rules/culture/mouth.h"
#include "rules/culture/sign.h"
#include "rules/culture/sugar.h"
#include "sensors/quantity.h"

namespace torpor::rules::culture {

struct AddSugar {
  Grams sugar;                    // > 0
  std::optional<SugarKind> kind;  // not told: the jar's own
  bool stirred = false;           // else spread on top
  friend bool operator==(const AddSugar&, const AddSugar&) = default;
};
struct Take {  // contents taken out, through all layers
  Grams contents;
  friend bool operator==(const Take&, const Take&) = default;
};
struct Open {
  friend bool operator==(const Open&, const Open&) = default;
};
struct ChangeCover {  // a fresh and dry one
  Cover cover = Cover::paper;
  friend bool operator==(const ChangeCover&, const ChangeCover&) = default;
};
struct Move {  // the air from now on is another place's
  friend bool operator==(const Move&, const Move&) = default;
};
struct Retire {
  friend bool operator==(const Retire&, const Retire&) = default;
};
using Act = std::variant<AddSugar, Take, Open, ChangeCover, Move, Retire>;

struct Look {  // signs told together
  std::vector<Sign> signs;
  friend bool operator==(const Look&, const Look&) = default;
};
struct Weighing {
  Grams weight;
  bool with_vessel = true;
  // A scale under the jar, not a person: its error does not average out, so it counts once a day.
  bool by_itself = false;
  friend bool operator==(const Weighing&, const Weighing&) = default;
};
struct Level {  // height of the contents
  double millimetres = 0.0;
  friend bool operator==(const Level&, const Level&) = default;
};
struct Headspace {  // humidity of the air under the cover
  Percent humidity;
  friend bool operator==(const Headspace&, const Headspace&) = default;
};
struct WakeTest {  // a spoonful in warm sugar water
  bool lively = true;
  friend bool operator==(const WakeTest&, const WakeTest&) = default;
};
using Observation = std::variant<Look, Weighing, Level, Headspace, WakeTest>;

}  // namespace torpor::rules::culture

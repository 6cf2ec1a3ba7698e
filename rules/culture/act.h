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
};
struct Take {  // contents taken out, through all layers
  Grams contents;
};
struct Open {};
struct ChangeCover {  // a fresh and dry one
  Cover cover = Cover::paper;
};
struct Move {};  // the air from now on is another place's
struct Retire {};
using Act = std::variant<AddSugar, Take, Open, ChangeCover, Move, Retire>;

struct Look {  // signs told together
  std::vector<Sign> signs;
};
struct Weighing {
  Grams weight;
  bool with_vessel = true;
  // A scale under the jar, not a person: its error does not average out, so it counts once a day.
  bool by_itself = false;
};
struct Level {  // height of the contents
  double millimetres = 0.0;
};
struct Headspace {  // humidity of the air under the cover
  Percent humidity;
};
struct WakeTest {  // a spoonful in warm sugar water
  bool lively = true;
};
using Observation = std::variant<Look, Weighing, Level, Headspace, WakeTest>;

}  // namespace torpor::rules::culture

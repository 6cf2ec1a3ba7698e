// What a person can do, worked out: a remedy with its words, amounts and cautions. Values only; who
// works them out is rules/watch/advice.h.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rules/book/rule.h"

namespace torpor::rules {

struct Figure {                 // one number behind an alert, as shown to a person and in JSON
  std::string name;             // "temperature"
  std::optional<double> value;  // canonical unit; nullopt: unknown
  std::string unit;             // "°C"
  friend bool operator==(const Figure&, const Figure&) = default;
};

// A remedy worked out: what to do, with amounts where they can be known, and its caution where it
// can hurt.
struct Advice {
  Remedy remedy = Remedy::look;
  std::string words;            // one to three plain sentences, the deed first
  std::vector<Figure> amounts;  // of the words, as JSON shows them
  friend bool operator==(const Advice&, const Advice&) = default;
};

}  // namespace torpor::rules

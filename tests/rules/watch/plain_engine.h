// The engine once more, written to be obviously right and not to be fast: it keeps everything,
// looks at every whole minute, and works out each truth from the definitions. For histories whose
// times are whole minutes, and comparisons of durations that are not strict (those change a
// millisecond after the minute). Averages pass their limits between minutes and are
// tested apart; so does a window that ceases to be known, so that no `until` has one `lasting`.
#pragma once

#include <map>
#include <set>
#include <string>
#include <vector>

#include "rules/book/condition_tree.h"
#include "rules/watch/evaluator.h"
#include "rules/watch/watch.h"

namespace torpor::rules {

class PlainEngine {
 public:
  explicit PlainEngine(WatchSettings settings);

  // Raised, reopened, eased and ended alerts of one step, as text: one line each.
  std::string step(Instant wall, const Input& input);
  // The jars of each standing alert of a place, as text: one line each.
  [[nodiscard]] std::string standing_jars() const;

 private:
  struct Said {  // one value of one sensor
    int at = 0;
    std::size_t sensor = 0;
    Quantity quantity = Quantity::temperature;
    double value = 0.0;
    bool trusted = true;
  };
  struct Stay {
    int from = 0;
    std::string place;
  };
  struct Jar {
    std::vector<Stay> stays;
    std::optional<int> retired_at;
    bool retired = false;
  };
  struct Instance {
    const Rule* rule = nullptr;
    Condition ease;
    Subject subject;
    std::optional<int> settled;
    int computed = -1;  // minutes up to here are worked out
    std::map<const ConditionNode*, std::vector<Truth>> truths;
    std::vector<bool> met;
    std::vector<int> met_since;
    bool alerted = false;
  };
  struct PlainAlert {
    std::uint64_t number = 0;
    std::string rule;
    Subject subject;
    std::set<std::string> standing;
    std::optional<int> eased_at;
  };
  using Speakers = std::vector<std::size_t>;

  void take(const Reading& reading);
  void take(const JarPlacedInput& input);
  void changed(Instance& instance, int at);
  void jar_feels(Instance& instance, const Speakers& air, int at);
  void come_to(int now, const std::set<std::string>* only);
  void jars_at_their_time();
  void compute(Instance& instance, int from, int to);
  Truth truth(const Instance& instance, const Condition& condition, int at, bool ease_side) const;
  Truth clause_truth(const Instance& instance, const Clause& clause, int at) const;
  Truth lasting_truth(const Instance& instance, const Lasting& lasting, int at,
                      bool ease_side) const;
  void fill(Instance& instance, const Condition& condition, int at, bool ease_side);
  Truth plain_truth(const Instance& instance, const Condition& condition, int at) const;
  std::optional<double> value(const Instance& instance, const Expression& of, int at) const;
  std::optional<double> value(const Instance& instance, const Window& window, int at) const;
  std::optional<double> value(const Instance& instance, const QuantityAt& quantity, int at) const;
  std::optional<double> air_value(const std::string& place, RuleQuantity quantity, int at) const;
  bool sensor_is_live(std::size_t sensor) const;
  void raise(Instance& instance);
  void ease(Instance& instance);
  void say(const char* kind, const PlainAlert& alert, int since);
  static std::string key(const Instance& instance);

  WatchSettings settings_;
  int late_;
  std::optional<int> now_;
  std::vector<Said> said_;                          // every new reading of any sensor
  std::map<Speakers, std::vector<Said>> accepted_;  // by air
  std::map<std::string, Jar> jars_;
  std::map<std::string, Instance> instances_;
  std::set<std::string> concerned_;  // instances that this input concerned
  std::vector<std::pair<int, bool>> link_;
  int first_known_ = 0;
  std::map<std::uint64_t, PlainAlert> alerts_;
  std::uint64_t next_number_ = 1;
  std::string text_;
};

}  // namespace torpor::rules

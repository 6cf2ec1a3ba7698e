// The judges of all sensors on the engine's path: each reading is judged here once, as it is
// applied, from what came before it and from nothing else. Holds the checks of the sensors, too,
// those that are done and those that wait for a salt or ice. What a doubt leads to is decided by
// core.cpp; sensors/ knows how each judge thinks.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "rules/book/rule.h"
#include "rules/book/rule_quantity_rows.h"
#include "rules/watch/evaluator.h"
#include "rules/watch/layout.h"
#include "rules/watch/sensor_standing.h"
#include "sensors/agreement.h"
#include "sensors/guided_check.h"

namespace torpor::rules {

inline constexpr std::size_t kSensorQuantities = count_from({Source::judges, Source::judges_since});
// In the order of what is saved of them.
inline constexpr auto kJudgeOrder =
    quantities_from<kSensorQuantities>({Source::judges, Source::judges_since});
// True for what the judges supply: spread, disagreement, time stuck and the like.
[[nodiscard]] bool is_of_judges(RuleQuantity quantity);

class SensorJudges {
 public:
  // `reach`: how far behind a sensor's newest reading its signals stay exact.
  // `recorded`: times of arrival are not those of the sensors' sending.
  SensorJudges(const Layout& layout, const RuleBook& book, const Calibrations& calibrations,
               Duration reach, bool recorded = false);

  // A reading that the engine has not had before. Doubts, combined with |. One older than the
  // sensor's newest of that quantity is judged for its range alone and changes nothing.
  [[nodiscard]] std::uint16_t judge(std::size_t sensor, const Reading& reading);
  // In the canonical unit, corrected by the checks that hold at its time.
  [[nodiscard]] double corrected(std::size_t sensor, const Reading& reading) const;
  // Of that, one standard deviation.
  [[nodiscard]] double expected_error(std::size_t sensor, const Reading& reading) const;
  // Precondition: is_of_judges(quantity), and some rule of the book reads it.
  [[nodiscard]] Signal signal(std::size_t sensor, RuleQuantity quantity, Instant t) const;
  [[nodiscard]] SensorStanding standing(std::size_t sensor, Instant now) const;

  // From its start on a sensor that lies in salt or ice does not speak for its air. Replaces one
  // that waits.
  void begin_check(std::size_t sensor, const CheckMeans& means, Instant start);
  void abandon_check(std::size_t sensor) { sensors_[sensor].check.reset(); }
  // A check that was waited for and has come to its end, once; nullopt: none. The sensor speaks for
  // its air again when the check says that it is out.
  [[nodiscard]] std::optional<GuidedCheck> take_finished(std::size_t sensor);
  // The interval between its messages as learned, where none is given; nullopt: given, or not known
  // yet. It follows what arrives in steps of a quarter.
  [[nodiscard]] std::optional<Duration> interval(std::size_t sensor) const;
  // The same, once after it has changed.
  [[nodiscard]] std::optional<Duration> take_changed_interval(std::size_t sensor);
  Calibration& calibration(std::size_t sensor) { return sensors_[sensor].calibration; }

  // The clock was wrong. `own_clock`: by sensor, it stamps its readings itself.
  void shift(const std::vector<bool>& own_clock, const std::function<Instant(Instant)>& moved);

  // By id, so that it fits a changed layout as far as it can. Throws nlohmann's exceptions and
  // std::out_of_range on what save() never wrote.
  [[nodiscard]] nlohmann::json save() const;
  void load(const nlohmann::json& saved);

 private:
  static constexpr std::size_t kNobody = static_cast<std::size_t>(-1);
  // What rules ask for, from `from` on. Of a time: since when, in Unix ms; kNot: it is not so.
  static constexpr double kNot = -1.0;
  struct Look {
    Instant from;
    std::array<double, kSensorQuantities> values{};
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(from, values);
    }
  };
  // Lowest and highest of the last 24 whole hours and the running one.
  struct DayRange {
    struct Hour {
      std::int64_t hour = 0;
      double lowest = 0.0, highest = 0.0;
      template <class Fields>
      void visit_fields(Fields& fields) {
        fields(hour, lowest, highest);
      }
    };
    std::vector<Hour> hours;  // oldest first
    void add(Instant at, double value);
    [[nodiscard]] double spread() const;  // NaN: a day is not known yet
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(hours);
    }
  };
  struct Value {  // one quantity of one sensor
    explicit Value(Quantity quantity, Surroundings around) : trust(quantity, around) {}
    ValueTrust trust;
    std::optional<Instant> newest;
    Judgement last;
    DayRange range;
    std::size_t company = kNobody;  // into companies_
    std::size_t position = 0;       // in it
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(trust, newest, last.doubts, last.reasons, range);
    }
  };
  struct Sensor {
    Sensor(Surroundings around, const SensorSpec& spec);
    std::array<Value, 2> values;  // by quantity
    SensorTrust whole;
    std::optional<double> thermometer;  // degC, its newest temperature
    std::uint32_t astray = 0;           // of the last 32 readings, newest in bit 0
    int judged = 0;                     // at most 32
    std::optional<Instant> stuck, disagreeing, drifting;
    std::vector<Look> looks;
    Calibration calibration;
    std::optional<GuidedCheck> check;
    bool learns = false;               // its interval is not given
    std::optional<Duration> interval;  // in force, as learned
    bool interval_changed = false;     // not taken yet; within one step
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(values[0], values[1], whole, astray, judged, stuck, disagreeing, drifting, looks,
             thermometer, interval);
    }
  };
  struct Company {  // of a quantity in a place, two sensors or more
    std::string place;
    Quantity quantity;
    std::vector<std::size_t> sensors;
    Agreement agreement;
  };

  // A quantity of the rule language and what it is of a sensor; NaN: not known.
  struct Figure {
    RuleQuantity quantity;
    double (*of)(const SensorJudges&, const Sensor&);
  };
  [[nodiscard]] static std::span<const Figure> figures();
  // Of a moment since when something is so, as Look keeps it.
  static double began(const std::optional<Instant>& at);
  // Between it and its company.
  [[nodiscard]] double apart(const Value& value) const;
  void find_company(const Layout& layout);
  std::uint16_t judge_battery(Sensor& sensor, const Reading& reading);
  static void learn(Sensor& sensor);
  void look(Sensor& sensor, Instant at);
  [[nodiscard]] Judgement compare(const Value& value, Instant at, double corrected, bool believed);
  [[nodiscard]] nlohmann::json company_key(const Company& company) const;

  std::vector<std::string> ids_;
  std::array<bool, kSensorQuantities> read_{};  // by some rule of the book
  Duration reach_;
  bool recorded_;
  std::vector<Sensor> sensors_;
  std::vector<Company> companies_;
};

}  // namespace torpor::rules

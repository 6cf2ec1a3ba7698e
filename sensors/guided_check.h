// The guided checks: a sensor shut up with a wet salt, or laid in melting ice. Fed with its raw
// readings it waits until they stand still, and then gives one Check with its uncertainty. Fed on,
// it notices when the sensor is taken out again: until then it tells nothing of the air. It guides;
// it does not store or correct.
#pragma once

#include <deque>
#include <optional>
#include <string>

#include "sensors/calibration.h"
#include "sensors/salts.h"

namespace torpor {

class GuidedCheck {
 public:
  enum class State { waiting, done, failed };

  // In a closed vessel over the wet salt, from `start` on.
  static GuidedCheck in_salt(Salt salt, Instant start);
  // In crushed ice and water, stirred: 0 degC.
  static GuidedCheck in_ice(Instant start);

  // Raw values in canonical units, in order of measuring; earlier ones than the start are ignored.
  void add(Quantity quantity, Instant at, double value);

  [[nodiscard]] State state() const { return state_; }
  // After the end: the sensor has left salt or ice and has come to rest in the air, or a day is
  // over. True at once where it never lay there, as far as its readings tell.
  [[nodiscard]] bool is_out() const { return out_; }
  // True once, when it has come to its end.
  [[nodiscard]] bool take_end();
  // One line for a person: what is waited for and what is expected, the result, or why it failed.
  [[nodiscard]] std::string words() const;
  // For the person who begins it: what to do, how long it takes, what to mind. `temperature`: of
  // the sensor now, if known.
  [[nodiscard]] static std::string instructions(const std::optional<Salt>& salt,
                                                std::optional<Celsius> temperature);
  // The result; nullopt unless done.
  [[nodiscard]] const std::optional<Check>& result() const { return result_; }
  [[nodiscard]] const std::optional<Salt>& salt() const { return salt_; }  // nullopt: ice
  [[nodiscard]] Instant start() const { return start_; }

  // What it remembers beside salt and start, for a snapshot of one that waits.
  template <class Fields>
  void visit_fields(Fields& fields) {
    fields(values_, temperatures_, slope_, window_full_, state_, why_failed_, result_, end_told_,
           ended_, away_since_, out_);
  }

 private:
  struct Sample {
    Instant at;
    double value = 0.0;
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(at, value);
    }
  };
  GuidedCheck(std::optional<Salt> salt, Instant start) : salt_(salt), start_(start) {}
  [[nodiscard]] Quantity quantity() const {
    return salt_ ? Quantity::humidity : Quantity::temperature;
  }
  void look(Instant now);
  void look_whether_out(Instant now, double value);
  void fail(std::string why);
  void finish(Instant now, double mean, double expected, double uncertainty);
  [[nodiscard]] std::optional<double> temperature() const;  // mean of the window

  std::optional<Salt> salt_;  // nullopt: ice
  Instant start_;
  State state_ = State::waiting;
  std::deque<Sample> values_, temperatures_;  // of the window that must stand still
  double slope_ = 0.0;                        // per hour, over the window
  bool window_full_ = false;
  std::string why_failed_;
  std::optional<Check> result_;
  bool end_told_ = false;
  Sample ended_;                       // when, and what it showed at rest
  std::optional<Instant> away_since_;  // from that value
  bool out_ = false;
};

}  // namespace torpor

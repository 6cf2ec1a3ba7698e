// The guided checks: a sensor shut up with a wet salt, laid in melting ice, or beside another
// instrument. Fed with its raw readings it waits until they stand still, and then gives one Check
// with its uncertainty. Fed on, it notices when the sensor is taken out again: until then it tells
// nothing of the air. It guides; it does not store or correct.
#pragma once

#include <deque>
#include <optional>
#include <string>

#include "sensors/calibration.h"
#include "sensors/check_means.h"

namespace torpor {

class GuidedCheck {
 public:
  enum class State { waiting, done, failed };

  // From `start` on: in a closed vessel over the wet salt, in crushed ice and water that are
  // stirred, or where it hangs.
  GuidedCheck(const CheckMeans& means, Instant start) : means_(means), start_(start) {}

  // Raw values in canonical units, in order of measuring; earlier ones than the start are ignored.
  void add(Quantity quantity, Instant at, double value);

  [[nodiscard]] State state() const { return state_; }
  // False: it stays where it hangs, and goes on speaking for its air.
  [[nodiscard]] bool leaves_its_air() const { return instrument_of(means_) == nullptr; }
  // After the end: the sensor has left salt or ice and has come to rest in the air, or a day is
  // over. True at once where it never lay there, as far as its readings tell.
  [[nodiscard]] bool is_out() const { return out_; }
  // True once, when it has come to its end.
  [[nodiscard]] bool take_end();
  // One line for a person: what is waited for and what is expected, the result, or why it failed.
  [[nodiscard]] std::string words() const;
  // For the person who begins it: what to do, how long it takes, what to mind. `temperature`: of
  // the sensor now, if known.
  [[nodiscard]] static std::string instructions(const CheckMeans& means,
                                                std::optional<Celsius> temperature);
  // The result; nullopt unless done.
  [[nodiscard]] const std::optional<Check>& result() const { return result_; }
  [[nodiscard]] const CheckMeans& means() const { return means_; }
  [[nodiscard]] Instant start() const { return start_; }

  // What it remembers beside means and start, for a snapshot of one that waits.
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
  [[nodiscard]] Quantity quantity() const;
  void look(Instant now);
  void look_at_comparison(Instant now);
  void look_at_bath(Instant now);
  void look_whether_out(Instant now, double value);
  void fail(std::string why);
  void finish(Instant now, double mean, double expected, double uncertainty);
  [[nodiscard]] std::optional<double> temperature() const;  // mean of the window

  CheckMeans means_;
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

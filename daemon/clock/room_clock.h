// What time it is, for everything the service stamps: arrivals, tells, alerts, the engine's time.
// The steady clock carries on; the wall clock is believed where it agrees, and once it has stood
// somewhere else for a while. Pure: it is told what the board's clocks say. board_clock.h reads
// them.
//
//   agrees -------- wall leaps --------> held apart -- stands for kStands --> moved, agrees
//      ^                                     |        (kStandsSynchronised where nothing was sure)
//      +------- comes back meanwhile --------+
//
// A clock is sure once it has agreed, kept by a time server, for kStandsSynchronised. What was
// stamped while it was not is moved together with it.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "sensors/reading.h"

namespace torpor::daemon {

// What the board's clocks say at one moment.
struct ClockLook {
  Instant wall;
  Duration steady{};          // since the board was started, sleep included
  bool synchronised = false;  // a time server keeps the wall clock: adjtimex(2)
  std::string boot = {};      // of which start of the board `steady` counts
};

// What the next start needs to know of this one.
struct KeptClock {
  std::string boot;
  Duration steady{};
  Instant time;                         // by this clock, at `steady`
  std::optional<Instant> unsure_since;  // nullopt: it was sure
  friend bool operator==(const KeptClock&, const KeptClock&) = default;
};
// Name of the note in the history that keeps it. Stored: do not rename.
inline constexpr std::string_view kClockNote = "clock";
[[nodiscard]] std::string to_text(const KeptClock& kept);
// nullopt: not written by to_text().
[[nodiscard]] std::optional<KeptClock> kept_clock_from(std::string_view text);

// The board has run since: the steady clock tells how long.
[[nodiscard]] bool is_same_start(const KeptClock& kept, const ClockLook& look);

// The clock was wrong: what was stamped at `from` or later, as it went then, belongs `by` later.
struct ClockMove {
  Instant from;
  Duration by{};
  friend bool operator==(const ClockMove&, const ClockMove&) = default;
};

class RoomClock {
 public:
  // Nearer than this the clocks agree: servers disagree by less, and unkept ones drift a second or
  // two a day.
  static constexpr Duration kAgrees = std::chrono::seconds(30);
  // A wrong time server is mended, and a wrong hand corrected, within minutes.
  static constexpr Duration kStands = std::chrono::minutes(15);
  static constexpr Duration kStandsSynchronised = std::chrono::minutes(1);
  // A board without a time server that was off for longer is more likely wrong than right.
  static constexpr Duration kPlausibleRest = std::chrono::hours(24);
  // The clock is brought along by at most this part of the time that passes: no crystal drifts so
  // fast, and a wall clock that runs away is held apart.
  static constexpr int kDriftPart = 60;
  // No clock that is right says less.
  static constexpr Instant kEarliest =
      std::chrono::sys_days(std::chrono::year(2026) / std::chrono::January / 1);

  // `kept`: of the run before; nullopt: the first one.
  RoomClock(const std::optional<KeptClock>& kept, const ClockLook& first);

  // Never goes back but by a move.
  [[nodiscard]] Instant now(const ClockLook& look);

  struct Seen {
    std::optional<Duration> stepped;  // the wall clock has just leapt by this; it is held apart
    bool came_back = false;           // it agrees again, and nothing was moved
    std::optional<ClockMove> move;    // it has stood long enough: what now() says has changed
  };
  // To be asked every few seconds.
  [[nodiscard]] Seen look(const ClockLook& look);

  // True: the wall clock has never been kept by a server while this one went by it.
  [[nodiscard]] bool unsure() const { return unsure_since_.has_value(); }
  [[nodiscard]] KeptClock keep(const ClockLook& look);

 private:
  struct Apart {
    Duration by{};
    Duration since{};                            // steady
    Instant seen_at;                             // by this clock
    std::optional<Duration> synchronised_since;  // steady
  };

  [[nodiscard]] Instant carried(const ClockLook& look) const { return base_ + look.steady; }
  void follow(const ClockLook& look);
  [[nodiscard]] ClockMove moved(const ClockLook& look);

  Instant base_;  // this clock less the steady one
  Duration followed_at_{};
  Instant newest_{};
  std::optional<Instant> unsure_since_;
  std::optional<Instant> unsure_before_;  // of the run before, where this one goes on from it
  std::optional<Duration> kept_since_;    // steady: agrees and is synchronised
  std::optional<Apart> apart_;
};

}  // namespace torpor::daemon

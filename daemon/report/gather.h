// Builds the views from the history as it stands: what the reading commands show, with and without
// the service running. One Gathering sees one consistent moment (that of its Reader).
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "config/settings.h"
#include "daemon/clock/room_clock.h"
#include "daemon/error.h"
#include "daemon/history/store.h"
#include "daemon/ledger/jar_life.h"
#include "daemon/ledger/ledger.h"
#include "daemon/report/standing_json.h"
#include "daemon/report/views.h"
#include "rules/watch/air_speaker.h"

namespace torpor::daemon {

// 'Now' of everything that is shown: the service's own time, as it goes on since the service kept
// it, and nobody's stamp. Where the board was started anew since, or no service ever ran: the wall
// clock. Under `clock: readings`: the newest reading, less what its sensor is ahead; without one
// the wall clock.
[[nodiscard]] Instant shown_now(const config::Settings& settings, const Reader& history,
                                const ClockLook& clocks);

// How long no reading has come, once no sensor's last value can still hold; nullopt: not worth a
// word. Under `clock: readings` the data's time has nothing to do with that of this computer.
[[nodiscard]] std::optional<Duration> silent_for(const config::Settings& settings,
                                                 const Reader& history, Instant now);

// Entries of the journal that cannot be read any more, which the service has told of. In table
// `note`: their numbers, with commas. Stored.
inline constexpr const char kLeftOutNote[] = "left-out";
[[nodiscard]] std::set<std::uint64_t> numbers_in(std::string_view list);

// The ledger as the journal tells it, but for the entries that the service left out. Error: kind
// corrupt, names the entry.
[[nodiscard]] tl::expected<Ledger, Error> ledger_of(const Reader& history);

// What the sensors of a layout say of a place at `now`. `air[i]` belongs to layout.sensors[i].
[[nodiscard]] AirFigures air_figures(const rules::Layout& layout, std::string_view place,
                                     std::span<const rules::SensorAir> air, Instant now);

// Points of the little curves: what an 80-column line holds beside its legend.
inline constexpr std::int64_t kCurvePoints = 48;

// Which part of a jar's history, and how finely.
struct HistoryRange {
  std::optional<Instant> from;    // default: when it was closed
  std::optional<Instant> to;      // default: now, or when it was retired; never later than now
  std::optional<Duration> every;  // default: every step, thinned to kShownRows
  std::int64_t curve_points = kCurvePoints;  // of JarHistoryView::life and ::slices; > 0
};

class Gathering {
 public:
  // All three outlive the Gathering. Error: kind corrupt, an alert that cannot be read.
  [[nodiscard]] static tl::expected<Gathering, Error> of(const config::Settings& settings,
                                                         const Reader& history,
                                                         const Ledger& ledger, Instant now);

  [[nodiscard]] Instant now() const { return now_; }
  [[nodiscard]] std::vector<JarView> jars() const;  // retired ones last
  // The same with no more than a list says, and without a look at any model whose standing is kept.
  [[nodiscard]] std::vector<JarRow> jar_rows() const;
  [[nodiscard]] JarView jar(const Jar& jar) const;
  [[nodiscard]] std::vector<PlaceView> places() const;    // in configuration order
  [[nodiscard]] std::vector<SensorView> sensors() const;  // configured ones first
  // nullopt: not configured.
  [[nodiscard]] std::optional<PlaceView> place(std::string_view path) const;
  [[nodiscard]] std::optional<SensorView> sensor(std::string_view id) const;
  [[nodiscard]] const std::vector<AlertView>& open_alerts() const { return open_alerts_; }
  [[nodiscard]] tl::expected<std::vector<AlertView>, Error> all_alerts() const;

  // The stretch of time that `range` means for this jar. from <= to.
  struct Stretch {
    Instant from, to;
  };
  [[nodiscard]] Stretch stretch(const Jar& jar, const HistoryRange& range) const;
  [[nodiscard]] tl::expected<JarHistoryView, Error> jar_history(const Jar& jar,
                                                                const HistoryRange& range) const;

 private:
  Gathering(const config::Settings& settings, const Reader& history, const Ledger& ledger,
            Instant now);
  [[nodiscard]] const AirFigures& air_at(const std::string& place) const;
  [[nodiscard]] std::vector<std::uint64_t> alerts_about(const rules::Subject& subject) const;
  [[nodiscard]] JarView view_of(const Jar& jar, const rules::culture::JarModel& model,
                                Instant as_of) const;
  // Stage, place, air and alerts.
  void fill(JarRow& row, const Jar& jar) const;
  // What the service keeps of it, while that is of now.
  [[nodiscard]] std::optional<rules::Standing> kept_standing(const Jar& jar) const;
  // As the service would.
  [[nodiscard]] rules::Standing worked_out_standing(const Jar& jar, const JarView& view,
                                                    const rules::culture::Verdict& verdict) const;
  [[nodiscard]] PlaceView view_of(const rules::PlaceSpec& place) const;
  [[nodiscard]] SensorView view_of(const rules::SensorSpec& spec) const;
  [[nodiscard]] tl::expected<bool, Error> ever_listed(const AlertView& view,
                                                      const std::string& jar) const;
  [[nodiscard]] tl::expected<std::vector<AlertView>, Error> alerts_of(const std::string& jar,
                                                                      Stretch stretch) const;
  [[nodiscard]] JarLife life_of(const Jar& jar, std::span<const Jar> split_line) const;
  [[nodiscard]] ActivityLimits limits_of(const Jar& jar) const;
  // Air, curves and ranges of the stretch; the model at its end.
  rules::culture::JarModel add_steps(JarHistoryView& view, const Jar& jar, Stretch when,
                                     const HistoryRange& range) const;
  rules::culture::JarModel add_days(JarHistoryView& view, const Jar& jar, Stretch when,
                                    const HistoryRange& range) const;
  [[nodiscard]] std::vector<JournalEntry> journal_of(const Jar& jar) const;

  const config::Settings* settings_;
  const Reader* history_;
  const Ledger* ledger_;
  Instant now_;
  rules::Layout layout_;
  std::vector<Placement> placements_;
  StoodAir stood_air_;  // of the two above, whose elements stay where they are when this is moved
  std::vector<rules::SensorAir> air_;                                      // of layout_.sensors
  std::map<std::string, std::vector<std::string>, std::less<>> standing_;  // jars, by place
  mutable std::map<std::string, AirFigures, std::less<>> air_at_;  // places asked for so far
  std::vector<AlertView> open_alerts_;
  Standings standings_;
};

}  // namespace torpor::daemon

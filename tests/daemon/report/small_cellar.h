// A small cellar's configuration and history in a private folder: what torpord would have left
// behind. Two shelves, a sensor on each and one above, three jars, one alert.
#pragma once

#include <filesystem>
#include <string>

#include "daemon/history/store.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {

class SmallCellar {
 public:
  // Times are counted from here: 2026-01-01T00:00:00Z.
  static constexpr Instant kStart = instant_of(1'767'225'600'000);
  [[nodiscard]] static Instant hour(double hours) {
    return kStart + Duration(static_cast<std::int64_t>(hours * 3.6e6));
  }

  // Configuration only.
  SmallCellar();

  // 30 days of half-hourly air for s1 (shelf-1: 15 °C, 60 %; 30 °C in the hour from hour 100 on)
  // and top (cellar: 10 °C, 80 %, all the time). s2 (shelf-2) speaks on the first two days only.
  // Jars B-01 on shelf-1, moved to shelf-2 on day 20; B-02 on shelf-2; X-9 on shelf-1 since day 25.
  // Alert 1 listed B-01 and has ended; alert 2 stands on shelf-1.
  void fill() const;
  // Its configuration says `clock: wall` from now on, in place of `readings`.
  void by_wall_clock() const;

  [[nodiscard]] std::filesystem::path config() const { return folder_ / "torpor.yaml"; }
  [[nodiscard]] std::filesystem::path history() const { return folder_ / "history.sqlite3"; }
  [[nodiscard]] const TempFolder& folder() const { return folder_; }

 private:
  TempFolder folder_;
};

}  // namespace torpor::tests

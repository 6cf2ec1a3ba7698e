// What the ledger asks of the running engine to answer `ask` and to check a told place: the words
// for jars and places as they are this moment, not as of the last commit. Strand only.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "config/settings.h"
#include "daemon/ledger/ledger.h"
#include "daemon/service/jar_standings.h"
#include "rules/watch/watch.h"

namespace torpor::daemon {

class LiveView : public LedgerView {
 public:
  // All referenced things outlive the view and may change between calls.
  LiveView(const config::Settings& settings, const LocalTime& zone, const Ledger& ledger,
           const rules::Watch& watch, const JarStandings& standings);

  [[nodiscard]] std::vector<std::string> places() const override;
  [[nodiscard]] std::string describe_jar(const Jar& jar) const override;
  [[nodiscard]] std::string describe_place(std::string_view place) const override;
  [[nodiscard]] std::string describe_sensor(std::string_view sensor) const override;
  [[nodiscard]] std::vector<ToldSensor> sensors() const override;
  [[nodiscard]] std::vector<rules::Alert> open_alerts() const override;
  [[nodiscard]] std::optional<rules::Standing> standing(std::string_view jar) const override;
  [[nodiscard]] std::string todo() const override;
  [[nodiscard]] std::optional<rules::culture::JarModel> model(std::string_view jar) const override;
  [[nodiscard]] std::shared_ptr<const rules::culture::Profile> profile(
      std::string_view stage) const override;

 private:
  [[nodiscard]] std::string air_words(std::string_view place) const;
  [[nodiscard]] std::string accuracy_words(const rules::SensorSpec& sensor, Instant now) const;
  [[nodiscard]] std::string alert_numbers(const rules::Subject& subject) const;
  [[nodiscard]] std::string alert_words(const rules::Subject& subject) const;

  const config::Settings& settings_;
  const LocalTime& zone_;
  const Ledger& ledger_;
  const rules::Watch& watch_;
  const JarStandings& standings_;
};

}  // namespace torpor::daemon

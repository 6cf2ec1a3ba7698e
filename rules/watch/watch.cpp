#include "rules/watch/watch.h"

#include "rules/watch/core.h"

namespace torpor::rules {

std::string_view alert_change_name(AlertChangeKind kind) {
  switch (kind) {
    case AlertChangeKind::raised:
      return "raised";
    case AlertChangeKind::reopened:
      return "reopened";
    case AlertChangeKind::seen:
      return "seen";
    case AlertChangeKind::deferred:
      return "deferred";
    case AlertChangeKind::eased:
      return "eased";
    case AlertChangeKind::ended:
      return "ended";
    case AlertChangeKind::updated:
      return "updated";
    case AlertChangeKind::risen:
      return "risen";
  }
  return "";
}

StandingAlert standing_alert(const Alert& alert) {
  StandingAlert seen;
  seen.number = alert.number;
  seen.urgency = alert.urgency;
  seen.of_jar = alert.subject.kind == SubjectKind::jar;
  seen.put_off = alert.deferred_until.has_value();
  if (!seen.of_jar) seen.place = alert.subject.id;
  seen.reason = alert.why.empty() ? alert.what : alert.why;
  seen.deeds = alert.remedies;
  return seen;
}

Watch::Watch(WatchSettings settings) : core_(std::make_unique<Core>(std::move(settings))) {}
Watch::~Watch() = default;
Watch::Watch(Watch&&) noexcept = default;
Watch& Watch::operator=(Watch&&) noexcept = default;

Effects Watch::step(Instant wall, const Input& input) { return core_->step(wall, input); }

std::optional<Instant> Watch::now() const { return core_->now(); }

std::optional<Instant> Watch::next_due() const { return core_->next_due(); }

std::vector<Alert> Watch::open_alerts() const { return core_->open_alerts(); }

bool Watch::is_late(std::string_view sensor, Quantity quantity, Instant measured_at) const {
  const auto newest = this->newest(sensor, quantity);
  return newest && measured_at < newest->measured_at;
}

std::optional<Reading> Watch::newest(std::string_view sensor, Quantity quantity) const {
  const SensorTrack* track = core_->track(sensor);
  return track == nullptr ? std::nullopt : track->newest(quantity);
}

std::optional<Reading> Watch::newest_trusted(std::string_view sensor, Quantity quantity) const {
  const SensorTrack* track = core_->track(sensor);
  return track == nullptr ? std::nullopt : track->newest_trusted(quantity);
}

std::optional<SensorStanding> Watch::standing(std::string_view sensor) const {
  return core_->standing(sensor);
}

SpokenAir Watch::air_at(std::string_view place) const { return core_->air_at(place); }

std::optional<culture::JarModel> Watch::jar_model(std::string_view jar) const {
  return core_->jar_model(jar);
}

std::optional<Standing> Watch::jar_standing(std::string_view jar) const {
  return core_->jar_standing(jar);
}

std::string Watch::todo() const { return core_->todo(); }

std::vector<OutdatedJar> Watch::outdated_jars() const { return core_->outdated_jars(); }

std::map<std::string, Duration> Watch::ahead() const { return core_->ahead(); }

std::string Watch::snapshot() const { return core_->snapshot(); }

std::vector<JarModelBytes> Watch::take_jar_models() { return core_->take_jar_models(); }

tl::expected<void, std::string> Watch::restore(std::string_view bytes,
                                               const std::vector<JarModelBytes>& models) {
  return core_->restore(bytes, models);
}

}  // namespace torpor::rules

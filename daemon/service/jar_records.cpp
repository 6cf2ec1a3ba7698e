#include "daemon/service/jar_records.h"

#include <algorithm>

namespace torpor::daemon {
namespace {

using std::chrono::days;
using std::chrono::floor;
using std::chrono::sys_days;

// A few tenths of a second on the worker thread: what comes after can go first.
constexpr days kDaysWantedAtOnce{366};

std::int64_t number_of(sys_days day) { return day.time_since_epoch().count(); }

}  // namespace

void JarRecords::settled(rules::JarModelBytes model) {
  auto& settled_to = courses_[model.jar].settled_to;
  if (settled_to != floor<days>(model.at)) none_wanted_ = false;
  settled_to = floor<days>(model.at);
  models_[model.jar] = std::move(model);
}

void JarRecords::outdated(const std::string& jar, Instant from) {
  none_wanted_ = false;
  const auto [known, is_new] = outdated_.emplace(jar, from);
  if (!is_new) known->second = std::min(known->second, from);
  models_.erase(jar);
  checkpoint_days_.erase(jar);
  Course& course = courses_[jar];
  ++course.revision;
  course.settled_to.reset();  // until there is a model again
  const sys_days first = floor<days>(from);
  if (course.stored_to) course.stored_to = std::min(*course.stored_to, first);
  if (const auto waiting = days_.find(jar); waiting != days_.end()) {
    std::erase_if(waiting->second,
                  [&](const StoredJarDay& day) { return day.day >= number_of(first); });
  }
  if (const auto waiting = checkpoints_.find(jar); waiting != checkpoints_.end()) {
    waiting->second.erase(waiting->second.lower_bound(from), waiting->second.end());
  }
}

void JarRecords::forget_days() {
  none_wanted_ = false;
  days_.clear();
  checkpoints_.clear();
  for (auto& [jar, course] : courses_) {
    ++course.revision;
    course.stored_to.reset();
  }
}

// What was outdated first: what was worked out anew meanwhile is kept.
tl::expected<void, Error> JarRecords::write(Store& store) const {
  for (const auto& [jar, from] : outdated_) {
    if (auto removed = store.remove_jar_model(jar); !removed) return removed;
    if (auto removed = store.remove_jar_checkpoints(jar, from); !removed) return removed;
    auto removed = store.remove_jar_days(jar, number_of(floor<days>(from)));
    if (!removed) return removed;
  }
  for (const auto& [jar, model] : models_) {
    if (auto put = store.put_jar_model(jar, model.model); !put) return put;
    const auto last = checkpoint_days_.find(jar);
    if (last != checkpoint_days_.end() && last->second == floor<days>(model.at)) continue;
    if (auto put = store.put_jar_checkpoint(jar, model.at, model.model); !put) return put;
  }
  for (const auto& [jar, checkpoints] : checkpoints_) {
    for (const auto& [at, model] : checkpoints) {
      if (auto put = store.put_jar_checkpoint(jar, at, model); !put) return put;
    }
  }
  for (const auto& [jar, jar_days] : days_) {
    for (const StoredJarDay& day : jar_days) {
      if (auto put = store.put_jar_day(jar, day); !put) return put;
    }
  }
  return {};
}

void JarRecords::written() {
  for (const auto& [jar, model] : models_) checkpoint_days_[jar] = floor<days>(model.at);
  models_.clear();
  outdated_.clear();
  checkpoints_.clear();
  days_.clear();
}

std::optional<JarRecords::Span> JarRecords::wanted_days(const Ledger& ledger) const {
  if (none_wanted_) return std::nullopt;
  if (waiting_days() >= static_cast<std::size_t>(kDaysWantedAtOnce.count())) return std::nullopt;
  for (const auto& [id, course] : courses_) {
    if (!course.settled_to || course.stored_to >= course.settled_to) continue;
    const Jar* jar = ledger.find(id);
    if (jar == nullptr) continue;
    sys_days to = *course.settled_to;
    if (jar->retired_at) to = std::min(to, floor<days>(*jar->retired_at));
    const sys_days from = course.stored_to.value_or(std::chrono::ceil<days>(jar->closed()));
    if (from < to) return Span{id, course.revision, from, std::min(to, from + kDaysWantedAtOnce)};
  }
  none_wanted_ = true;
  return std::nullopt;
}

std::size_t JarRecords::waiting_days() const {
  std::size_t waiting = 0;
  for (const auto& [jar, jar_days] : days_) waiting += jar_days.size();
  return waiting;
}

void JarRecords::take(const WorkedOutDays& worked_out) {
  none_wanted_ = false;
  Course& course = courses_[worked_out.jar];
  if (course.revision != worked_out.revision) return;
  course.stored_to = worked_out.to;
  if (worked_out.days.empty()) return;
  auto& waiting = days_[worked_out.jar];
  waiting.insert(waiting.end(), worked_out.days.begin(), worked_out.days.end());
  if (worked_out.model.empty()) return;
  checkpoints_[worked_out.jar][worked_out.model_at] = worked_out.model;
}

}  // namespace torpor::daemon

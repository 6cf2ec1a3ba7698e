#include "daemon/service/storeroom.h"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <cstdlib>
#include <nlohmann/json.hpp>

#include "daemon/history/little_endian.h"
#include "daemon/link/link.h"
#include "daemon/link/topic_filter.h"
#include "daemon/report/alert_json.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/gather.h"
#include "daemon/report/jar_standing_json.h"
#include "daemon/report/json.h"
#include "daemon/report/person_units.h"
#include "daemon/report/standing_json.h"
#include "rules/watch/local_hours.h"

namespace torpor::daemon {
namespace {

// A redelivery is looked for among as many messages as the broker may have under way at once
// (kReceiveMaximum, link/intake.cpp).
constexpr std::size_t kRedeliveriesRemembered = 20;
// Records that may wait for a predecessor before something is wrong with the numbering.
constexpr std::size_t kEarlyRecordsExpected = 64;
// Stored: a new layout takes a new number.
constexpr std::uint32_t kSnapshotFormat = 1;
// A day is folded once the late readings that still step the engine (`late`, an hour) have come.
constexpr auto kFoldedAfter = std::chrono::hours(1);
// Some milliseconds each on the strand: an import of years gains on its days all the same.
constexpr std::size_t kDaysFoldedAtOnce = 8;
// Tens of microseconds each: years that a new limit lets go are gone within the hour.
constexpr std::size_t kDaysForgottenAtOnce = 100;
// A jar's shown state walks its week of readings: worth doing when an alert or a telling touched
// it, not with every reading.
constexpr auto kJarShownEvery = std::chrono::minutes(5);

// In table `note`. Stored.
constexpr const char kSnapshotCheckNote[] = "snapshot-check";

// "44:89abcdef": of which input, and the CRC-32 of its bytes.
std::string snapshot_check(std::uint64_t sequence, std::string_view bytes) {
  boost::crc_32_type crc;
  crc.process_bytes(bytes.data(), bytes.size());
  return fmt::format("{}:{:08x}", sequence, crc.checksum());
}

// An alert's body with its times moved.
std::string moved_alert(std::string_view body, const ClockMove& move) {
  auto view = alert_from_json(body);
  if (!view) return std::string(body);  // whoever reads it says so
  rules::Alert& alert = view->alert;
  const auto moved = [&move](Instant& t) {
    if (t >= move.from) t += move.by;
  };
  moved(alert.since);
  moved(alert.raised_at);
  for (auto* t :
       {&alert.eased_at, &alert.ended_at, &alert.seen_at, &alert.deferred_until, &alert.worst_at}) {
    if (*t) moved(**t);
  }
  return alert_json(*view);
}

void remember(std::deque<std::uint64_t>& digests, std::uint64_t digest) {
  digests.push_back(digest);
  if (digests.size() > kRedeliveriesRemembered) digests.pop_front();
}

}  // namespace

std::filesystem::path spool_folder(const std::filesystem::path& history) {
  const std::filesystem::path absolute = real_history(history);
  boost::crc_32_type crc;
  crc.process_bytes(absolute.native().data(), absolute.native().size());
  const std::string name = fmt::format("torpor-spool-{:08x}", crc.checksum());
  // The service manager's folder in memory, where it gives one: to the service by name, and the
  // commands find it where the service has put something there.
  const char* given = std::getenv("RUNTIME_DIRECTORY");
  if (given != nullptr && *given == '/') {
    const std::string_view folders(given);
    return std::filesystem::path(folders.substr(0, folders.find(':'))) / name;
  }
  std::filesystem::path managed = std::filesystem::path("/run/torpor") / name;
  std::error_code absent;
  if (std::filesystem::exists(managed, absent)) return managed;
  return std::filesystem::path("/dev/shm") / name;
}

StoreroomSettings storeroom_settings(const Loaded& loaded) {
  return {loaded.settings,
          loaded.book,
          loaded.zone,
          loaded.history,
          spool_folder(loaded.history),
          loaded.marker,
          loaded.copies,
          true,
          {}};
}

HistoryPlace history_place(const StoreroomSettings& settings) {
  return {settings.history,
          settings.spool,
          settings.marker,
          settings.copies,
          settings.settings.storeroom,
          settings.may_stand_in,
          settings.found_damage};
}

rules::WatchSettings watch_settings(const StoreroomSettings& settings,
                                    const Calibrations& calibrations) {
  rules::WatchSettings watch;
  watch.layout = settings.settings.layout();
  watch.book = settings.book;
  watch.profiles = settings.settings.cultures;
  watch.calibrations = calibrations;
  watch.clock = settings.settings.clock;
  watch.quiet = settings.settings.quiet;
  watch.utc_offset = [zone = settings.zone](Instant t) { return zone.offset(t); };
  return watch;
}

std::size_t Storeroom::ReadingKeyHash::operator()(const ReadingKey& key) const {
  const std::uint64_t time = std::hash<std::int64_t>{}(unix_ms(key.measured_at));
  const std::uint64_t mixed =
      time * 0x9E3779B97F4A7C15ULL + static_cast<std::uint64_t>(key.quantity);
  return std::hash<std::string>{}(key.sensor) ^ static_cast<std::size_t>(mixed);
}

Storeroom::Storeroom(StoreroomSettings settings, std::unique_ptr<Store> store)
    : settings_(std::move(settings)),
      store_(std::move(store)),
      watch_(watch_settings(settings_, {})),
      jar_standings_(watch_),
      view_(settings_.settings, settings_.zone, ledger_, watch_, jar_standings_) {}

Storeroom::~Storeroom() = default;

tl::expected<std::unique_ptr<Storeroom>, Error> Storeroom::open(StoreroomSettings settings,
                                                                Instant wall) {
  const HistoryPlace place = history_place(settings);
  auto opened = open_history(place, wall);
  if (!opened) return tl::unexpected(opened.error());
  const std::uint64_t applied = opened->store->snapshot().sequence;
  InboxOptions options;
  options.folder = opened->inbox;
  options.spool = settings.spool;
  options.power_cut = settings.settings.history.survives == config::Survives::power_cut;
  if (opened->stands_in) options.numbers_left_out = kNumbersLeftOut;
  auto inbox = Inbox::open(options, applied);
  if (!inbox) return tl::unexpected(inbox.error());
  for (const std::filesystem::path& other : opened->other_inboxes) {
    // What cannot be moved now is tried again with the next start.
    const auto moved = move_in(other, applied, **inbox);
    if (!moved)
      spdlog::error("{} is kept for the next start: {}", other.string(), moved.error().text);
    if (moved && *moved > 0) spdlog::info("took {} inputs over from {}", *moved, other.string());
  }

  std::unique_ptr<Storeroom> room(new Storeroom(std::move(settings), std::move(opened->store)));
  room->inbox_ = std::move(*inbox);
  if (opened->lock) room->lock_.emplace(std::move(*opened->lock));
  room->stands_in_ = opened->stands_in;
  room->identity_ = opened->identity;
  room->add_trouble(opened->trouble);
  room->tell_of_inbox_loss();
  if (auto restored = room->restore(wall); !restored) return tl::unexpected(restored.error());
  room->tell_of_trouble(wall);
  return room;
}

void Storeroom::add_trouble(const std::string& sentences) {
  if (sentences.empty()) return;
  if (!trouble_.empty()) trouble_ += " ";
  trouble_ += sentences;
}

// One notice for all of it, and a line for whoever asks with a command.
void Storeroom::tell_of_trouble(Instant wall) {
  if (store_->note(kTroubleNote).value_or("") != trouble_) keep_note(kTroubleNote, trouble_);
  if (trouble_.empty()) return;
  spdlog::error("{}", trouble_);
  notify(fmt::format("trouble-{}", unix_ms(wall)),
         fmt::format("Today: torpor in {}: {}", settings_.settings.storeroom, trouble_));
}

void Storeroom::tell_of_inbox_loss() {
  const InboxLoss loss = inbox_->loss();
  if (loss.none()) return;
  std::string when;
  if (loss.after) when += " after " + settings_.zone.to_words(*loss.after);
  if (loss.before) when += " before " + settings_.zone.to_words(*loss.before);
  std::string lost;
  if (loss.missing > 0) {
    lost = fmt::format("{} input{} of it {} lost", loss.missing, loss.missing == 1 ? "" : "s",
                       loss.missing == 1 ? "is" : "are");
    if (loss.at_the_end) lost += ", and perhaps some at its end";
  } else {
    lost = loss.at_the_end ? "What came last may be lost" : "Nothing of it is lost";
  }
  const bool any = loss.missing > 0 || loss.at_the_end;
  add_trouble(fmt::format(
      "The inbox, which holds what comes until it is in the history, {}. {}{}{}.{} Look at the "
      "disk.",
      loss.places > 0
          ? fmt::format("was damaged in {} place{}", loss.places, loss.places == 1 ? "" : "s")
          : "has a gap",
      lost, any ? when : "", any ? ": readings, or what you told then; tell that again" : "",
      loss.kept.empty() ? ""
                        : fmt::format(" The file is kept as {}.", loss.kept.front().string())));
}

// An entry that is damaged is put right from the last copy, or left out: the others still count.
tl::expected<void, Error> Storeroom::replay_journal() {
  std::vector<JournalEntry> journal = store_->journal();
  auto faults = store_->check_journal(journal);
  if (!faults) return tl::unexpected(faults.error());
  const std::string known = store_->note(kLeftOutNote).value_or("");
  std::set<std::uint64_t> known_left_out = numbers_in(known);
  std::map<std::uint64_t, JournalEntry> in_copy;
  std::string copy_day;
  if (!faults->none()) {
    if (const auto copy = unpack_newest_copy(history_place(settings_), identity_)) {
      copy_day = copy->day;
      if (const auto copied = Store::open(copy->file)) {
        for (JournalEntry& entry : (*copied)->journal()) in_copy[entry.number] = std::move(entry);
      }
    }
  }
  std::vector<std::string> mended, changed, gone, left_out;
  std::set<std::uint64_t> out;
  const auto mend = [&](std::uint64_t number) -> const JournalEntry* {
    const auto found = in_copy.find(number);
    if (found == in_copy.end()) return nullptr;
    pending_.mended.push_back(found->second);
    mended.push_back(std::to_string(number));
    return &found->second;
  };
  for (const std::uint64_t number : faults->missing) {
    if (const JournalEntry* entry = mend(number)) {
      const auto at = std::ranges::lower_bound(journal, number, {}, &JournalEntry::number);
      journal.insert(at, *entry);
    } else {
      gone.push_back(std::to_string(number));
      pending_.told_faults.missing.push_back(number);
    }
  }
  for (JournalEntry& entry : journal) {
    const bool is_changed =
        std::ranges::find(faults->changed, entry.number) != faults->changed.end();
    const JournalEntry* good = is_changed ? mend(entry.number) : nullptr;
    if (good != nullptr) entry = *good;
    const auto replayed = ledger_.replay(entry);
    if (!replayed) {
      out.insert(entry.number);
      if (!known_left_out.contains(entry.number)) {
        left_out.push_back(fmt::format("{} (“{}”)", entry.number, entry.sentence));
        spdlog::error("{}", replayed.error());
      }
    } else if (is_changed && good == nullptr) {
      changed.push_back(fmt::format("{} (“{}”)", entry.number, entry.sentence));
    }
    if (is_changed && good == nullptr) pending_.told_faults.changed.push_back(entry.number);
  }
  journal_entries_ = journal.size();
  if (!mended.empty()) {
    add_trouble(
        fmt::format("Journal entries damaged on the disk were put right from the copy of {}: "
                    "{}. Look at the disk.",
                    copy_day, fmt::join(mended, ", ")));
  }
  if (!changed.empty()) {
    add_trouble(
        fmt::format("The disk has changed journal entries: {}. Look at them, and withdraw "
                    "what is wrong.",
                    fmt::join(changed, ", ")));
  }
  if (!left_out.empty()) {
    add_trouble(
        fmt::format("Journal entries that can no longer be read are left out: {}. Tell them "
                    "again.",
                    fmt::join(left_out, ", ")));
  }
  if (!gone.empty()) {
    add_trouble(
        fmt::format("Journal entries are gone from the disk: {}. Tell again what was told "
                    "then.",
                    fmt::join(gone, ", ")));
  }
  const std::string list = fmt::format("{}", fmt::join(out, ","));
  if (list != known) keep_note(kLeftOutNote, list);
  return {};
}

bool Storeroom::take_snapshot(const Store::Snapshot& saved) {
  if (saved.bytes.empty()) return false;
  const std::string check = store_->note(kSnapshotCheckNote).value_or("");
  tl::expected<void, std::string> restored;
  if (check.starts_with(fmt::format("{}:", saved.sequence)) &&
      check != snapshot_check(saved.sequence, saved.bytes)) {
    restored = tl::unexpected(std::string("the disk has changed it"));
  } else {
    restored = restore_snapshot(saved.bytes);
  }
  if (restored) return true;
  spdlog::error("the snapshot of the rules' state cannot be read: {}", restored.error());
  add_trouble(
      "How far the rules were is damaged: alerts that were open are raised again by what comes. "
      "Journal and readings are whole. Look at the disk.");
  return false;
}

// Alerts of before are over for this engine, and their numbers are not used again.
void Storeroom::begin_without_snapshot(Instant wall) {
  std::uint64_t first_alert = 1;
  for (const StoredAlert& stored : store_->alerts(false)) {
    first_alert = std::max(first_alert, stored.number + 1);
    if (!stored.open) continue;
    auto view = alert_from_json(stored.body);
    if (!view) continue;
    view->alert.state = rules::AlertState::ended;
    view->alert.ended_at = wall;
    pending_.alerts[stored.number] = {stored.number, false, alert_json(*view)};
  }
  // An engine as it begins, but for the number of its next alert (rules/watch/snapshot.cpp).
  nlohmann::json fresh = nlohmann::json::from_cbor(watch_.snapshot());
  fresh["next_alert"] = first_alert;
  std::string bytes;
  nlohmann::json::to_cbor(fresh, bytes);
  if (const auto begun = watch_.restore(bytes); !begun) {
    spdlog::error("alerts are numbered from 1 again: {}", begun.error());
  }
  for (const rules::Input& input : ledger_.placements()) step(wall, input);
}

tl::expected<void, Error> Storeroom::restore(Instant wall) {
  if (auto replayed = replay_journal(); !replayed) return replayed;
  watch_ = rules::Watch(watch_settings(settings_, ledger_.calibrations()));
  backlog_ = store_->outbox();
  const Store::Snapshot saved = store_->snapshot();
  applied_ = saved.sequence;
  state_is_kept_ = take_snapshot(saved);
  if (!state_is_kept_) begin_without_snapshot(wall);
  for (const auto& [id, jar] : ledger_.jars()) {
    if (!jar.retired_at) jar_standings_.restored(id);
  }
  date_placements(wall);
  for (InboxRecord& record : inbox_->read_after(applied_)) {
    // Nothing comes early here: a number that is missing will not come.
    applied_ = std::max(applied_, record.sequence - 1);
    accept(std::move(record));
  }
  applied_ = inbox_->last_sequence();
  return {};
}

// A sensor's first placement holds from the beginning of time, so that an imported past has a
// place; a changed one holds from now on and never re-tags what was measured before.
void Storeroom::date_placements(Instant wall) {
  std::map<std::string, Placement> newest;
  for (Placement& placement : store_->placements()) newest[placement.spec.id] = placement;
  const Instant now = watch_.now().value_or(store_->newest_measured().value_or(wall));
  for (const config::SensorSettings& sensor : settings_.settings.sensors) {
    const auto known = newest.find(sensor.spec.id);
    if (known == newest.end()) {
      pending_.placements.push_back({sensor.spec, instant_of(0)});
    } else if (const rules::SensorSpec spec = rules::with_learned(sensor.spec, known->second.spec);
               known->second.spec != spec) {
      pending_.placements.push_back({spec, now});
    }
    if (known != newest.end()) newest.erase(known);
  }
  // A sensor taken out of the configuration hangs nowhere from now on.
  for (auto& [id, placement] : newest) {
    if (placement.spec.place.empty() && placement.spec.jar.empty()) continue;
    placement.spec.place.clear();
    placement.spec.jar.clear();
    pending_.placements.push_back({placement.spec, now});
  }
}

void Storeroom::accept(InboxRecord record) {
  if (record.sequence <= applied_) return;
  early_.emplace(record.sequence, std::move(record));
  if (early_.size() == kEarlyRecordsExpected && early_.begin()->first != applied_ + 1) {
    // A record that the inbox could not read back (damaged, and counted there) has no successor's
    // claim to wait for it.
    spdlog::error("input {} is missing from the inbox; going on with {}", applied_ + 1,
                  early_.begin()->first);
    applied_ = early_.begin()->first - 1;
  }
  for (auto next = early_.begin(); next != early_.end() && next->first == applied_ + 1;
       next = early_.begin()) {
    const InboxRecord ready = std::move(next->second);
    early_.erase(next);
    applied_ = ready.sequence;
    apply(ready);
  }
}

void Storeroom::apply(const InboxRecord& record) {
  state_is_kept_ = false;
  if (const auto* readings = std::get_if<ReadingsRecord>(&record.payload)) {
    apply(*readings);
  } else if (const auto* tell = std::get_if<TellRecord>(&record.payload)) {
    apply(*tell, record.sequence);
  } else if (const auto* link = std::get_if<LinkRecord>(&record.payload)) {
    step(link->at, rules::LinkInput{link->connected});
  } else if (const auto* model = std::get_if<JarModelRecord>(&record.payload)) {
    step(wall_, rules::JarModelInput{model->jar, model->revision, model->bytes});
    release_worked_out();
  } else if (const auto* disk = std::get_if<DiskRecord>(&record.payload)) {
    step(disk->at, rules::DiskInput{Percent(disk->free_percent)});
  } else if (const auto* clock = std::get_if<ClockStepRecord>(&record.payload)) {
    step(clock->at, rules::ClockSteppedInput{clock->by});
  } else if (const auto* move = std::get_if<ClockMoveRecord>(&record.payload)) {
    apply(*move);
  } else if (const auto* tick = std::get_if<TickRecord>(&record.payload)) {
    step(tick->at, rules::TickInput{});
  }
}

// The clock was wrong: everything that was stamped by it moves, here and in the history.
void Storeroom::apply(const ClockMoveRecord& record) {
  const ClockMove move{record.from, record.by};
  if (settings_.settings.clock == rules::Clock::readings) {  // data has its own time
    wall_ = record.at;
    return;
  }
  move_pending(move);
  pending_.moves.push_back(move);
  wall_ = record.at;
  jars_shown_.clear();
  jar_standings_.clear();
  forgotten_through_ = instant_of(0);
  Told told = ledger_.date_anew(move.from, move.by, wall_, wall_);
  const std::uint64_t entry = told.entries.front().number;
  std::move(told.entries.begin(), told.entries.end(), std::back_inserter(pending_.journal));
  step(wall_, rules::ClockMovedInput{move.from, move.by});
  for (const rules::Input& input : told.inputs) step(wall_, input);
  const Duration by = std::chrono::abs(move.by);
  notify(
      fmt::format("clock-{}", entry),
      fmt::format("This week: the board's clock was {} {} and is right again. What came in "
                  "meanwhile, with {} of the journal, has its right time now (entry {}; "
                  "`withdraw entry {} because \"...\"` takes that back). Nothing to do.",
                  in_words(by), move.by < Duration{} ? "fast" : "slow", told.answer, entry, entry));
  show_all();
}

// What is stored moves with the next commit, in the same way.
void Storeroom::move_pending(const ClockMove& move) {
  const auto moved = [&move](Instant& t) {
    if (t >= move.from) t += move.by;
  };
  const auto moved_body = [&move](const std::string& body) { return moved_alert(body, move); };
  pending_.by_key.clear();
  for (Reading& reading : pending_.readings) {
    if ((reading.marks & kStampedOnArrival) == 0) {
      moved(reading.received_at);
    } else if (reading.measured_at >= move.from) {
      reading.measured_at += move.by;
      reading.received_at += move.by;
    }
    pending_.by_key.emplace(ReadingKey{reading.sensor, reading.quantity, reading.measured_at},
                            reading);
  }
  for (auto& [number, alert] : pending_.alerts) alert.body = moved_body(alert.body);
  for (StoredAlertChange& change : pending_.changes) {
    moved(change.at);
    change.body = moved_body(change.body);
  }
  for (Placement& placement : pending_.placements) moved(placement.from);
}

void Storeroom::apply(const ReadingsRecord& record) {
  if (is_redelivery(record)) {
    readings_.known += record.readings.size();
    return;
  }
  rules::ReadingsInput input;
  for (const Reading& reading : record.readings) {
    switch (judge(reading)) {
      case Stored::known:
        ++readings_.known;
        continue;
      case Stored::conflicting:
        ++readings_.conflicting;
        continue;
      case Stored::fresh:
        break;
    }
    ++readings_.fresh;
    if (!reading.trusted()) ++readings_.untrusted;
    if (watch_.is_late(reading.sensor, reading.quantity, reading.measured_at)) ++readings_.late;
    pending_.by_key.emplace(ReadingKey{reading.sensor, reading.quantity, reading.measured_at},
                            reading);
    pending_.readings.push_back(reading);
    input.readings.push_back(reading);
  }
  if (input.readings.empty()) return;
  const std::set<std::string> doubted_before = doubted_sensors_;
  for (const Reading& reading : input.readings) doubted_sensors_.erase(reading.sensor);
  step(record.received_at, input);
  // Readers know what is not believed from what is committed.
  urgent_ = urgent_ || doubted_sensors_ != doubted_before;
}

// The readings of the step that was just made are the newest that wait.
void Storeroom::mark_doubted(const std::vector<rules::DoubtedReading>& doubted) {
  for (const rules::DoubtedReading& each : doubted) {
    const auto waiting =
        std::find_if(pending_.readings.rbegin(), pending_.readings.rend(), [&](const Reading& r) {
          return r.measured_at == each.measured_at && r.quantity == each.quantity &&
                 r.sensor == each.sensor;
        });
    if (waiting == pending_.readings.rend()) continue;
    if (waiting->trusted()) ++readings_.untrusted;
    waiting->marks |= kDoubted;
    doubted_sensors_.insert(each.sensor);
  }
}

void Storeroom::keep_ahead() {
  std::string text = ahead_json(watch_.ahead());
  if (text == ahead_) return;
  ahead_ = text;
  keep_note(std::string(kAheadNote), std::move(text));
}

std::optional<KeptClock> Storeroom::kept_clock() const {
  const auto note = store_->note(kClockNote);
  auto kept = note ? kept_clock_from(*note) : std::nullopt;
  const Instant newest = settings_.settings.clock == rules::Clock::wall
                             ? std::max(wall_, watch_.now().value_or(wall_))
                             : wall_;
  if (!kept && newest == Instant{}) return std::nullopt;
  // Of a version that kept none, or of another start of the board: no further back than what was
  // stamped.
  if (!kept) return KeptClock{{}, {}, newest, std::nullopt};
  // What came after the note was kept, and may have come before a crash.
  for (const ClockMove& move : pending_.moves) {
    if (kept->time >= move.from) kept->time += move.by;
    kept->unsure_since = move.from + move.by;
  }
  if (newest > kept->time) {
    kept->steady += newest - kept->time;
    kept->time = newest;
  }
  return kept;
}

StampsSoFar Storeroom::stamps() const {
  StampsSoFar stamps;
  stamps.newest = settings_.settings.clock == rules::Clock::readings ? watch_.now() : std::nullopt;
  for (const config::SensorSettings& sensor : settings_.settings.sensors) {
    StampsSoFar::Sensor& each = stamps.by_sensor[sensor.spec.id];
    for (const QuantityFacts& row : quantities()) {
      const auto newest = watch_.newest(sensor.spec.id, row.quantity);
      if (newest) each.newest = std::max(each.newest, std::optional(newest->measured_at));
    }
    if (!sensor.spec.learns_interval) {
      each.interval = sensor.spec.expected_interval;
    } else if (const auto standing = watch_.standing(sensor.spec.id)) {
      each.interval = standing->interval;
    }
  }
  return stamps;
}

void Storeroom::keep_standings() {
  std::map<std::string, rules::SensorStanding> standings;
  for (const config::SensorSettings& sensor : settings_.settings.sensors) {
    if (auto standing = watch_.standing(sensor.spec.id)) {
      standings.emplace(sensor.spec.id, std::move(*standing));
    }
  }
  std::string text = standings_json(standings);
  if (text == standings_) return;
  standings_ = text;
  keep_note(std::string(kStandingsNote), std::move(text));
}

Stored Storeroom::judge(const Reading& reading) {
  const auto compare = [&reading](const Reading& kept) {
    return kept.raw == reading.raw && kept.unit == reading.unit ? Stored::known
                                                                : Stored::conflicting;
  };
  const ReadingKey key{reading.sensor, reading.quantity, reading.measured_at};
  if (const auto waiting = pending_.by_key.find(key); waiting != pending_.by_key.end()) {
    return compare(waiting->second);
  }
  const auto newest = watch_.newest(reading.sensor, reading.quantity);
  if (newest && reading.measured_at > newest->measured_at) return Stored::fresh;
  const auto found = store_->find_reading(reading);
  // A history that cannot be read must not stop the watching; the key keeps it single when written.
  if (!found && !fault_) fault_ = found.error();
  return found ? *found : Stored::fresh;
}

bool Storeroom::is_redelivery(const ReadingsRecord& record) {
  if (record.digest == 0 || record.readings.empty()) return false;
  std::deque<std::uint64_t>& digests = digests_[record.readings.front().sensor];
  if (record.redelivered &&
      std::find(digests.begin(), digests.end(), record.digest) != digests.end()) {
    return true;
  }
  remember(digests, record.digest);
  return false;
}

// Correlation data alone does not name a sentence: there are clients that count from 1 with each
// start, or send the same ever again.
std::string Storeroom::request_of(const TellRecord& record) {
  return record.correlation.empty() ? std::string() : record.correlation + '\0' + record.sentence;
}

bool Storeroom::is_repeat(const TellRecord& record) {
  if (!record.correlation.empty()) return false;  // told by its stored answer
  const bool repeat = record.redelivered && std::find(recent_tells_.begin(), recent_tells_.end(),
                                                      record.sentence) != recent_tells_.end();
  if (repeat) return true;
  recent_tells_.push_back(record.sentence);
  if (recent_tells_.size() > kRedeliveriesRemembered) recent_tells_.pop_front();
  return false;
}

void Storeroom::apply(const TellRecord& record, std::uint64_t sequence) {
  const std::string id = fmt::format("answer-{}", sequence);
  if (is_repeat(record)) return;
  const std::string request = request_of(record);
  if (!request.empty()) {
    for (const auto& [known, text] : pending_.answers) {
      if (known == request) return answer(record, std::string(text), id);
    }
    if (const auto stored = store_->answer(request)) return answer(record, *stored, id);
  }
  wall_ = std::max(wall_, record.received_at);
  const Instant now =
      settings_.settings.clock == rules::Clock::readings ? watch_.now().value_or(wall_) : wall_;
  std::string text;
  auto sentence = parse_sentence(record.sentence, settings_.zone);
  if (!sentence) {
    text = std::string(kNotRecorded) + sentence.error().text;
  } else {
    if (sentence->by.empty()) sentence->by = record.by;
    auto told = ledger_.tell(*sentence, record.sentence, now, wall_, settings_.zone, view_);
    if (!told) {
      text = std::string(kNotRecorded) + told.error().text;
    } else {
      text = told->answer;
      std::move(told->entries.begin(), told->entries.end(), std::back_inserter(pending_.journal));
      for (const rules::Input& input : told->inputs) step(record.received_at, input);
      jars_shown_.clear();  // a telling is shown soon
      text = followed_by(std::move(text), standings_text(told->jars, view_));
      if (is_outdated(told->revised)) return hold({record, id, text, std::move(told->revised)});
      text = followed_by(std::move(text), revised_text(told->revised, view_, true));
    }
  }
  give(record, text, id);
}

// A repeat gets it, too.
void Storeroom::give(const TellRecord& tell, const std::string& text, const std::string& id) {
  if (const std::string request = request_of(tell); !request.empty()) {
    std::erase_if(pending_.answers, [&](const auto& known) { return known.first == request; });
    pending_.answers.emplace_back(request, text);
  }
  answer(tell, text, id);
}

bool Storeroom::is_outdated(const std::vector<RevisedJar>& jars) const {
  const auto outdated = watch_.outdated_jars();
  return std::any_of(outdated.begin(), outdated.end(), [&](const rules::OutdatedJar& each) {
    return std::any_of(jars.begin(), jars.end(),
                       [&](const RevisedJar& jar) { return jar.jar == each.jar; });
  });
}

// What it would say without waiting is committed with what was told: should the service end
// meanwhile, that is what the next one sends.
void Storeroom::hold(HeldAnswer held) {
  give(held.tell, followed_by(held.begins, revised_text(held.revised, view_, false)), held.id);
  pending_.outbox.back().held = true;
  held_.push_back(std::move(held));
}

void Storeroom::release(const HeldAnswer& held, bool worked_out) {
  delivered(held.id);
  give(held.tell, followed_by(held.begins, revised_text(held.revised, view_, worked_out)),
       held.id + "-anew");
}

void Storeroom::release_worked_out() {
  std::vector<HeldAnswer> still_held;
  for (HeldAnswer& held : held_) {
    if (is_outdated(held.revised)) {
      still_held.push_back(std::move(held));
    } else {
      release(held, true);
    }
  }
  held_ = std::move(still_held);
}

void Storeroom::release_answers() {
  for (const HeldAnswer& held : held_) release(held, false);
  held_.clear();
}

void Storeroom::answer(const TellRecord& tell, const std::string& text, const std::string& id) {
  const std::string answers = topic_of(settings_.settings.storeroom, "answer");
  // Anyone may ask for the answer below `answer/`; any other response topic could be someone
  // else's.
  const bool own = tell.response_topic.starts_with(answers + "/") && is_topic(tell.response_topic);
  send({id, own ? tell.response_topic : answers, text, false, tell.correlation});
  urgent_ = true;
}

void Storeroom::notify(const std::string& id, const std::string& line) {
  send({id, topic_of(settings_.settings.storeroom, "notice"),
        PersonUnits(settings_.settings.units).in(line), false, ""});
  urgent_ = true;
}

void Storeroom::keep_note(std::string name, std::string text) {
  pending_.notes[std::move(name)] = std::move(text);
}

void Storeroom::step(Instant wall, const rules::Input& input) {
  wall_ = std::max(wall_, wall);
  state_is_kept_ = false;
  outdate_retired(input);
  const bool by_readings = std::holds_alternative<rules::ReadingsInput>(input) ||
                           std::holds_alternative<rules::TickInput>(input);
  take(watch_.step(wall_, input), by_readings);
}

void Storeroom::take(rules::Effects effects, bool by_readings) {
  mark_doubted(effects.doubted);
  std::map<std::uint64_t, const rules::Alert*> changed;
  for (const rules::AlertChange& change : effects.changes) {
    const std::string body = alert_json({change.alert});
    const std::uint64_t number = change.alert.number;
    const bool open = change.alert.state != rules::AlertState::ended;
    pending_.alerts[number] = {number, open, body};
    pending_.changes.push_back(
        {number, change.at, std::string(rules::alert_change_name(change.kind)), body});
    changed[number] = &change.alert;
  }
  for (const auto& [number, alert] : changed) {
    const bool open = alert->state != rules::AlertState::ended;
    send({fmt::format("alert-{}-{}", number, applied_),
          topic_of(settings_.settings.storeroom, fmt::format("alert/{}", number)),
          open ? pending_.alerts[number].body : "", true, ""});
  }
  for (const rules::Notice& notice : effects.notices) notify(notice.id, notice.line);
  urgent_ = urgent_ || !changed.empty();
  for (const auto& [number, alert] : changed) {
    for (const std::string& jar : alert->jars) {
      jars_shown_.erase(jar);
      jar_standings_.changed(jar);
    }
  }
  for (const rules::OutdatedJar& jar : effects.outdated) {
    jar_records_.outdated(jar.jar, jar.from);
    urgent_ = true;
  }
  touched_.insert(effects.touched.begin(), effects.touched.end());
  for (const rules::Subject& subject : effects.touched) {
    if (subject.kind != rules::SubjectKind::jar) continue;
    if (by_readings) {
      jar_standings_.touched(subject.id);
    } else {
      jar_standings_.changed(subject.id);
    }
  }
  for (const rules::LearnedInterval& learned : effects.learned) date_learned(learned);
  for (const rules::FinishedCheck& finished : effects.finished) end_check(finished);
}

void Storeroom::keep_jar_standings() {
  for (const JarStandings::Kept& kept : jar_standings_.take_changed(wall_)) {
    keep_note(standing_note(kept.jar), kept.standing ? jar_standing_json(*kept.standing) : "");
    if (!kept.differs) continue;
    touched_.insert({rules::SubjectKind::jar, kept.jar});
    jars_shown_.erase(kept.jar);
  }
}

// From then on its values hold otherwise, for whoever looks back, too.
void Storeroom::date_learned(const rules::LearnedInterval& learned) {
  for (const config::SensorSettings& sensor : settings_.settings.sensors) {
    if (sensor.spec.id != learned.sensor) continue;
    rules::SensorSpec spec = sensor.spec;
    spec.expected_interval = learned.interval;
    spec.hold = learned.hold;
    spec.learns_interval = spec.learns_hold = false;
    pending_.placements.push_back({std::move(spec), learned.from});
  }
}

// The person who began it hears of it as of any answer. A salt takes its time: where that ends at
// night, the phone stays quiet.
void Storeroom::end_check(const rules::FinishedCheck& finished) {
  const Instant now = watch_.now().value_or(wall_);
  const Told told = ledger_.end_check(finished, now, wall_);
  if (told.entries.empty()) return;
  const std::string id = fmt::format("check-{}", told.entries.front().number);
  pending_.journal.insert(pending_.journal.end(), told.entries.begin(), told.entries.end());
  for (const rules::Input& input : told.inputs) step(wall_, input);
  send({id + "-answer", topic_of(settings_.settings.storeroom, "answer"), told.answer, false, ""});
  const auto offset = [this](Instant t) { return settings_.zone.offset(t); };
  if (rules::after_quiet(now, settings_.settings.quiet, offset) == now) {
    notify(id, "This week: " + told.answer);
  }
  urgent_ = true;
}

// The engine knows them no more, and what is stored of them may rest on other values.
void Storeroom::outdate_retired(const rules::Input& input) {
  const auto* checked = std::get_if<rules::SensorCheckedInput>(&input);
  const auto* withdrawn = std::get_if<rules::CheckWithdrawnInput>(&input);
  if (checked == nullptr && withdrawn == nullptr) return;
  const Instant from = checked != nullptr ? checked->check.at : withdrawn->check.at;
  for (const auto& [id, jar] : ledger_.jars()) {
    if (jar.retired_at && *jar.retired_at > from) jar_records_.outdated(id, from);
  }
}

// One record may change an alert more than once: its retained topic wants the last state only.
void Storeroom::send(OutboxMessage message) {
  for (WaitingMessage& waiting : pending_.outbox) {
    if (waiting.message.id != message.id) continue;
    if (!waiting.handed_out) waiting.message = std::move(message);
    return;
  }
  pending_.outbox.push_back({std::move(message), false});
}

bool Storeroom::anything_waits() const {
  return urgent_ || !pending_.readings.empty() || !pending_.delivered.empty() ||
         !pending_.notes.empty() || !pending_.placements.empty() || !pending_.outbox.empty() ||
         jar_records_.waiting_days() > 0;
}

std::vector<OutboxMessage> Storeroom::take_outgoing() {
  std::vector<OutboxMessage> messages = std::move(backlog_);
  backlog_.clear();
  for (WaitingMessage& waiting : pending_.outbox) {
    if (!waiting.handed_out && !waiting.held) messages.push_back(waiting.message);
    waiting.handed_out = !waiting.held;
  }
  return messages;
}

void Storeroom::delivered(const std::string& id) {
  const auto unwritten =
      std::find_if(pending_.outbox.begin(), pending_.outbox.end(),
                   [&id](const WaitingMessage& waiting) { return waiting.message.id == id; });
  if (unwritten != pending_.outbox.end()) {
    pending_.outbox.erase(unwritten);
  } else {
    pending_.delivered.push_back(id);
  }
}

tl::expected<void, Error> Storeroom::commit() {
  urgent_ = false;
  keep_standings();
  keep_jar_standings();
  keep_ahead();
  for (rules::JarModelBytes& model : watch_.take_jar_models()) {
    jar_records_.settled(std::move(model));
  }
  if (auto begun = store_->begin(); !begun) return begun;
  auto written = write_pending();
  if (written) written = store_->commit();
  if (!written) {
    store_->rollback();
    return written;
  }
  for (WaitingMessage& waiting : pending_.outbox) {
    if (!waiting.handed_out && !waiting.held) backlog_.push_back(std::move(waiting.message));
  }
  state_is_kept_ = true;
  jar_records_.written();
  const std::uint64_t pending_entries = pending_.journal.size();
  pending_ = Pending{};
  journal_entries_ += pending_entries;
  // The history that is away knows nothing of it yet.
  if (!stands_in_) inbox_->drop_through(applied_);
  fold_days();
  return {};
}

// What is committed is safe without it: a failure is tried again with the next commit.
void Storeroom::fold_days() {
  auto newest = store_->newest_measured();
  if (!newest) return;
  // A stamp from ahead must not age what is recent.
  if (const auto now = watch_.now()) newest = std::min(*newest, *now);
  const auto folded = store_->fold_days(*newest - kFoldedAfter, kDaysFoldedAtOnce);
  if (!folded && !fault_ && folded.error().kind == ErrorKind::corrupt) fault_ = folded.error();
  forget_days(*newest);
}

// A jar that still stands keeps the air that it has stood in, however long ago it was closed.
void Storeroom::forget_days(Instant newest) {
  if (!settings_.settings.history.keep) return;
  Instant before = newest - *settings_.settings.history.keep;
  for (const auto& [id, jar] : ledger_.jars()) {
    if (!jar.retired_at) before = std::min(before, jar.closed());
  }
  before = std::chrono::floor<std::chrono::days>(before);
  if (before <= forgotten_through_) return;
  const auto forgotten = store_->forget_days(before, kDaysForgottenAtOnce);
  if (forgotten && *forgotten < kDaysForgottenAtOnce) forgotten_through_ = before;
}

tl::expected<void, Error> Storeroom::write_pending() {
  tl::expected<void, Error> ok;
  const auto then = [&ok](auto result) {
    if (ok && !result) ok = tl::unexpected(result.error());
  };
  const auto each = [&ok, &then](const auto& items, const auto& put) {
    for (const auto& item : items) {
      if (!ok) return;
      then(put(item));
    }
  };
  each(pending_.moves, [&](const ClockMove& move) {
    return store_->move_stamps(move.from, move.by,
                               [&move](std::string_view body) { return moved_alert(body, move); });
  });
  each(pending_.placements, [&](const Placement& p) { return store_->put_placement(p); });
  each(pending_.readings, [&](const Reading& r) { return store_->put_reading(r); });
  each(pending_.mended, [&](const JournalEntry& e) { return store_->mend_journal(e); });
  if (ok && !pending_.told_faults.none()) then(store_->accept_faults(pending_.told_faults));
  each(pending_.journal, [&](const JournalEntry& e) { return store_->put_journal(e); });
  each(pending_.alerts, [&](const auto& numbered) { return store_->put_alert(numbered.second); });
  each(pending_.changes, [&](const StoredAlertChange& c) { return store_->put_alert_change(c); });
  each(pending_.outbox, [&](const WaitingMessage& w) { return store_->put_outbox(w.message); });
  each(pending_.delivered, [&](const std::string& id) { return store_->remove_outbox(id); });
  each(pending_.answers, [&](const auto& a) { return store_->put_answer(a.first, a.second); });
  each(pending_.notes, [&](const auto& n) { return store_->put_note(n.first, n.second); });
  if (ok) then(jar_records_.write(*store_));
  if (!ok || state_is_kept_) return ok;
  const std::string state = snapshot();
  then(store_->put_snapshot(applied_, state));
  if (ok) then(store_->put_note(kSnapshotCheckNote, snapshot_check(applied_, state)));
  return ok;
}

std::vector<rules::JarModelBytes> Storeroom::stored_models() const {
  std::vector<rules::JarModelBytes> models;
  for (StoredJarModel& stored : store_->jar_models()) {
    models.push_back({std::move(stored.jar), {}, std::move(stored.bytes)});
  }
  return models;
}

std::optional<Recomputation> Storeroom::next_recomputation() const {
  if (jar_records_.removal_waits()) return std::nullopt;
  for (const rules::OutdatedJar& outdated : watch_.outdated_jars()) {
    const Jar* jar = ledger_.find(outdated.jar);
    if (jar == nullptr) continue;
    return Recomputation{outdated,
                         *jar,
                         ledger_.calibrations(),
                         ledger_.split_line(*jar),
                         settings_.settings,
                         settings_.history,
                         settings_.spool};
  }
  return std::nullopt;
}

std::optional<WantedDays> Storeroom::next_wanted_days() const {
  if (jar_records_.removal_waits()) return std::nullopt;
  const auto span = jar_records_.wanted_days(ledger_);
  if (!span) return std::nullopt;
  const Jar& jar = *ledger_.find(span->jar);
  return WantedDays{span->jar,
                    span->revision,
                    span->from,
                    span->to,
                    jar,
                    ledger_.calibrations(),
                    ledger_.split_line(jar),
                    settings_.settings,
                    settings_.history,
                    settings_.spool};
}

// The engine's own snapshot, and what tells a redelivery after a restart (history/FORMAT.md).
std::string Storeroom::snapshot() const {
  std::string bytes;
  put_number(bytes, kSnapshotFormat);
  put_signed(bytes, unix_ms(wall_));
  put_text(bytes, watch_.snapshot());
  put_number(bytes, static_cast<std::uint32_t>(digests_.size()));
  for (const auto& [sensor, digests] : digests_) {
    put_text(bytes, sensor);
    put_number(bytes, static_cast<std::uint32_t>(digests.size()));
    for (const std::uint64_t digest : digests) put_number(bytes, digest);
  }
  put_number(bytes, static_cast<std::uint32_t>(recent_tells_.size()));
  for (const std::string& tell : recent_tells_) put_text(bytes, tell);
  return bytes;
}

tl::expected<void, std::string> Storeroom::restore_snapshot(std::string_view bytes) {
  ByteReader reader(bytes);
  if (reader.number<std::uint32_t>() != kSnapshotFormat) {
    return tl::unexpected(std::string("it is not a snapshot of this version"));
  }
  const Instant wall = instant_of(reader.signed_number());
  const std::string watch = reader.text();
  decltype(digests_) digests;
  for (auto sensors = reader.number<std::uint32_t>(); sensors > 0 && !reader.failed(); --sensors) {
    auto& of_sensor = digests[reader.text()];
    for (auto left = reader.number<std::uint32_t>(); left > 0 && !reader.failed(); --left) {
      of_sensor.push_back(reader.number<std::uint64_t>());
    }
  }
  decltype(recent_tells_) tells;
  for (auto left = reader.number<std::uint32_t>(); left > 0 && !reader.failed(); --left) {
    tells.push_back(reader.text());
  }
  if (!reader.finished()) return tl::unexpected(std::string("it is damaged"));
  if (auto restored = watch_.restore(watch, stored_models()); !restored) return restored;
  wall_ = wall;
  digests_ = std::move(digests);
  recent_tells_ = std::move(tells);
  return {};
}

void Storeroom::show_all() {
  for (const auto& place : settings_.settings.places) {
    touched_.insert({rules::SubjectKind::place, place.path});
  }
  for (const auto& sensor : settings_.settings.sensors) {
    touched_.insert({rules::SubjectKind::sensor, sensor.spec.id});
  }
  for (const auto& [id, jar] : ledger_.jars()) {
    if (!jar.retired_at) touched_.insert({rules::SubjectKind::jar, id});
  }
  jars_shown_.clear();
  todo_shown_.clear();
  show_alerts_ = true;
}

std::set<std::string> Storeroom::living_topics() const {
  std::set<std::string> topics{"service", "todo"};
  for (const rules::Alert& alert : watch_.open_alerts()) {
    topics.insert(fmt::format("alert/{}", alert.number));
  }
  for (const auto& place : settings_.settings.places) topics.insert("place/" + place.path);
  for (const auto& sensor : settings_.settings.sensors) topics.insert("sensor/" + sensor.spec.id);
  for (const auto& [id, jar] : ledger_.jars()) {
    if (jar.retired_at) continue;
    topics.insert("jar/" + id);
    topics.insert("line/" + id);
  }
  return topics;
}

std::vector<std::pair<std::string, std::string>> Storeroom::take_shown(Instant wall) {
  std::vector<std::pair<std::string, std::string>> shown;
  const auto show = [&](const std::string& topic, std::string payload) {
    shown.emplace_back(topic_of(settings_.settings.storeroom, topic), std::move(payload));
  };
  if (show_alerts_) {
    show_alerts_ = false;
    for (const rules::Alert& alert : watch_.open_alerts()) {
      show(fmt::format("alert/{}", alert.number), alert_json({alert}));
    }
  }
  if (std::string todo = PersonUnits(settings_.settings.units).in(watch_.todo());
      todo != todo_shown_) {
    todo_shown_ = todo;
    show("todo", std::move(todo));
  }
  keep_jar_standings();
  shows_more_ = jar_standings_.more();
  if (touched_.empty()) return shown;
  const auto reader = Reader::open(settings_.history, settings_.spool);
  if (!reader) return shown;  // tried again with the next call; the commit reports the disk
  const auto gathering = Gathering::of(settings_.settings, **reader, ledger_,
                                       settings_.settings.clock == rules::Clock::readings
                                           ? watch_.now().value_or(wall)
                                           : std::max(wall, watch_.now().value_or(wall)));
  if (!gathering) return shown;
  const std::size_t whole = shown.size();
  std::set<rules::Subject> later;
  std::size_t jars_shown = 0;
  for (const rules::Subject& subject : touched_) {
    switch (subject.kind) {
      case rules::SubjectKind::place:
        if (const auto view = gathering->place(subject.id)) {
          show("place/" + subject.id, place_json(*view));
        }
        break;
      case rules::SubjectKind::sensor:
        if (const auto view = gathering->sensor(subject.id)) {
          show("sensor/" + subject.id, sensor_json(*view));
        }
        break;
      case rules::SubjectKind::jar:
        if (const Jar* jar = ledger_.find(subject.id); jar != nullptr) {
          Instant& last = jars_shown_[subject.id];
          const bool shown_lately = wall - last < kJarShownEvery;
          shows_more_ = shows_more_ || (!shown_lately && jars_shown == kJarsShownAtOnce);
          if (shown_lately || jars_shown == kJarsShownAtOnce) {
            later.insert(subject);
            break;
          }
          ++jars_shown;
          last = wall;
          if (jar->retired_at) {
            show("jar/" + subject.id, "");
            show("line/" + subject.id, "");
            break;
          }
          const JarView view = gathering->jar(*jar);
          show("jar/" + subject.id, jar_json(view));
          show("line/" + subject.id,
               PersonUnits(settings_.settings.units).in(rules::standing_line(view.standing)));
        }
        break;
      case rules::SubjectKind::service:
        break;  // the daemon's own beat
    }
  }
  touched_ = std::move(later);
  if (const auto fault = (*reader)->fault()) {
    // States made from a part of the history would look like answers.
    if (!fault_) fault_ = fault;
    shown.resize(whole);
  }
  return shown;
}

tl::expected<void, Error> Storeroom::reconfigure(config::Settings settings, rules::RuleBook book,
                                                 Instant wall) {
  if (auto committed = commit(); !committed) return committed;
  const std::string state = watch_.snapshot();
  settings_.settings = std::move(settings);
  settings_.book = std::move(book);
  rules::Watch changed(watch_settings(settings_, ledger_.calibrations()));
  if (auto restored = changed.restore(state, stored_models()); !restored) {
    return tl::unexpected(Error{ErrorKind::invalid, restored.error()});
  }
  watch_ = std::move(changed);
  state_is_kept_ = false;
  jar_standings_.clear();
  jar_records_.forget_days();
  date_placements(wall);
  return commit();
}

}  // namespace torpor::daemon

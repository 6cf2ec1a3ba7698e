#include "daemon/service/service.h"

#include <malloc.h>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <boost/asio/post.hpp>
#include <csignal>
#include <cstdlib>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <tuple>
#include <utility>

#include "daemon/history/integrity_check.h"
#include "daemon/history/open_history.h"
#include "daemon/history/small_copy.h"
#include "daemon/service/broker_access.h"
#include "daemon/version.h"
#include "daemon/web/web_server.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

// Between two commits while nothing is urgent: the inbox already keeps what was acknowledged, and
// one commit a minute spares an SD card.
constexpr auto kCalmCommitPause = std::chrono::seconds(60);
// For the models that an answer is to tell of.
constexpr auto kAnswerPatience = std::chrono::seconds(4);
// The last hour in which nobody tells anything, local time.
constexpr auto kCopiedAt = std::chrono::hours(3);
// Between two copies while things are told.
constexpr auto kCopyPause = std::chrono::minutes(10);
// Between two tries to take a history back that turned out to be away still.
constexpr auto kTakeBackPause = std::chrono::hours(1);
// After a commit that failed.
constexpr auto kFailedCommitPause = std::chrono::seconds(5);
// Readings that are committed at once, however young: bounds memory and the size of a transaction.
constexpr std::size_t kReadingsPerCommit = 5000;
// Inputs and readings that may wait before the intake pauses and the broker's session queues.
constexpr std::size_t kStrandLimit = 200'000;
// Retained states are shown at most this often.
constexpr std::chrono::steady_clock::duration kShowPause = std::chrono::seconds(10);
// While jars are left over from the last time: a third of the strand's time at most.
constexpr std::chrono::steady_clock::duration kShowNextPause = std::chrono::milliseconds(500);
constexpr auto kBeat = std::chrono::seconds(60);
// Between two looks at the board's clocks.
constexpr auto kClockPause = std::chrono::seconds(5);
// How long retained topics of an earlier run are collected after connecting.
constexpr auto kOrphanPatience = std::chrono::seconds(3);
// How long the farewell may take.
constexpr auto kFarewellPatience = std::chrono::seconds(3);

// What a reload cannot change, in words; empty if nothing of it changed.
std::string needs_restart(const Loaded& running, const Loaded& wanted) {
  const config::Settings& old = running.settings;
  const config::Settings& now = wanted.settings;
  std::string parts;
  const auto changed = [&parts](bool differs, const char* part) {
    if (differs) parts += (parts.empty() ? "" : ", ") + std::string(part);
  };
  changed(old.storeroom != now.storeroom, "storeroom");
  changed(old.zone != now.zone, "zone");
  changed(old.clock != now.clock, "clock");
  changed(running.history != wanted.history || old.history.survives != now.history.survives,
          "history");
  changed(old.broker.host != now.broker.host || old.broker.port != now.broker.port ||
              old.broker.user != now.broker.user || old.broker.encrypted != now.broker.encrypted ||
              running.secret != wanted.secret,
          "broker");
  const auto web_of = [](const Loaded& loaded) {
    const auto& web = loaded.settings.web;
    return std::tuple(web ? web->listen : "", web ? web->address : "", loaded.web_token);
  };
  changed(web_of(running) != web_of(wanted), "web");
  return parts;
}

// A backlog, snapshots and pages are made in megabytes of small pieces, and the allocator keeps
// what is freed between others: 90 MB, of which this gave back 54, after a burst of millions of
// readings.
void return_memory() {
#ifdef __GLIBC__
  ::malloc_trim(0);
#endif
}

// "2026-03-02": a copy is of the day that ends in the last hour in which nobody tells anything.
std::string night_of(const LocalTime& zone, Instant wall) {
  return to_rfc3339(wall + zone.offset(wall) - kCopiedAt).substr(0, 10);
}

std::string night_of_newest_copy(const Loaded& loaded) {
  const auto copies = small_copies(copies_folder(loaded.history), loaded.settings.storeroom);
  if (copies.empty()) return "";
  return copies.front().filename().string().substr(loaded.settings.storeroom.size() + 1, 10);
}

// What the worker thread needs to make the nightly copies.
struct CopyOrder {
  std::filesystem::path history, second;
  std::string storeroom, night;
  std::vector<CopiedFile> configuration;
};

CopyOrder copy_order(const Loaded& loaded, const std::string& night) {
  CopyOrder order{loaded.history, loaded.copies, loaded.settings.storeroom, night, {}};
  for (const auto& [name, text] : loaded.texts) order.configuration.push_back({name, text});
  return order;
}

// Beside the history, and at night in the second place. Empty: all are made.
std::string make_copies(const CopyOrder& order, bool nightly) {
  std::string failures;
  const auto make = [&](const std::filesystem::path& folder) {
    const auto made =
        make_small_copy(order.history, order.storeroom, order.night, order.configuration, folder);
    if (!made) failures += (failures.empty() ? "" : "; ") + made.error().text;
  };
  make(copies_folder(order.history));
  if (nightly && !order.second.empty()) make(order.second);
  return failures;
}

PageSource page_source(const Loaded& loaded) {
  return {loaded.settings, loaded.zone, loaded.history, spool_folder(loaded.history)};
}

}  // namespace

Service::Service(Loaded loaded, std::filesystem::path config_file)
    : config_file_(std::move(config_file)), loaded_(std::move(loaded)) {}

Service::~Service() = default;

tl::expected<void, Error> Service::start() {
  auto room = Storeroom::open(storeroom_settings(loaded_), read_clocks().wall);
  if (!room) return tl::unexpected(room.error());
  room_ = std::move(*room);
  clock_ = std::make_unique<BoardClock>(room_->kept_clock());
  since_ = link_changed_ = clock_->now();
  keep_clock();
  entries_copied_ = room_->journal_entries();
  copied_night_ = night_of_newest_copy(loaded_);
  if (auto started = start_outgoing(); !started) return started;
  commit();  // what the inbox held, and what an earlier run had not delivered
  if (auto started = start_imports(); !started) return started;
  if (auto started = start_web(); !started) return started;
  if (auto started = start_intake(); !started) return started;
  check_integrity();
  wait_for_signals();
  board_ = std::make_unique<Board>(loaded_.history.parent_path());
  beat();
  look_at_clock();
  manager_.say("STATUS=Waiting for the broker.");
  feed_watchdog();
  show_after(kShowPause);
  after_step();
  return {};
}

void Service::check_integrity() {
  if (room_->stands_in()) return;  // what is away cannot be read, and the rest was just made
  integrity_check_ = std::make_unique<IntegrityCheck>(loaded_.history, [this](const Error& damage) {
    boost::asio::post(strand_, [this, damage] {
      room_->note_damage(damage);
      commit();
    });
  });
}

tl::expected<void, Error> Service::start_outgoing() {
  OutgoingSettings settings;
  settings.access = broker_access(loaded_);
  settings.storeroom = loaded_.settings.storeroom;
  settings.gone = service_json("gone");
  OutgoingHandlers handlers;
  handlers.delivered = [this](const std::string& id) {
    boost::asio::post(strand_, [this, id] {
      room_->delivered(id);
      after_step();
    });
  };
  handlers.state = [this](bool connected, const std::string&) {
    boost::asio::post(strand_, [this, connected] {
      takeover_watch_.outgoing(connected, std::chrono::steady_clock::now());
      if (connected) show_all();
    });
  };
  handlers.disturbed = [this](Disturbance what) {
    boost::asio::post(strand_, [this, what] { disturbed(what); });
  };
  auto outgoing = Outgoing::start(std::move(settings), std::move(handlers));
  if (!outgoing) return tl::unexpected(outgoing.error());
  outgoing_ = std::move(*outgoing);
  outgoing_->collect_retained(kOrphanPatience, [this](const std::vector<std::string>& topics) {
    boost::asio::post(strand_, [this, topics] { empty_orphans(topics); });
  });
  return {};
}

tl::expected<void, Error> Service::start_intake() {
  ReceptionHandlers reception;
  reception.accepted = [this](InboxRecord record) { accepted(std::move(record)); };
  reception.strand_is_full = [this] { return strand_is_full(); };
  reception.tell_refused = [this](const TellRecord& tell, const std::string& answer) {
    boost::asio::post(strand_, [this, tell, answer] {
      room_->answer(tell, answer, fmt::format("refused-{}", unix_ms(clock_->now())));
      after_step();
    });
  };
  reception.cannot_keep = [](const std::string& trouble) {
    spdlog::critical(
        "a message could be kept neither on disk nor in memory ({}); leaving without acknowledging "
        "it, so that the broker sends it again after the restart",
        trouble);
    spdlog::shutdown();
    std::_Exit(EXIT_FAILURE);  // a return would acknowledge
  };
  reception_ =
      std::make_unique<Reception>(loaded_.settings.storeroom, loaded_.settings.clock,
                                  room_->stamps(), room_->inbox(), counters_, std::move(reception));
  reception_->use_sensors(loaded_.settings.sensors);
  reception_->use_regulars(room_->regular_tellers());

  IntakeSettings settings;
  settings.access = broker_access(loaded_);
  settings.storeroom = loaded_.settings.storeroom;
  settings.topics = Reception::filters(loaded_.settings.sensors);
  IntakeHandlers handlers;
  // Data played back has its own time, and nothing to do with this clock.
  const bool by_wall = loaded_.settings.clock == rules::Clock::wall;
  handlers.message = [this, by_wall](const IncomingMessage& message) {
    const std::lock_guard lock(stamping_);
    const Taken taken = reception_->message(message, clock_->now(), by_wall && clock_->unsure());
    if (taken == Taken::stop) paused_.store(true);
    return taken;
  };
  handlers.state = [this](bool connected, const std::string& reason) {
    if (!connected) reception_->link_lost();
    boost::asio::post(strand_, [this, connected, reason] { intake_state(connected, reason); });
  };
  handlers.disturbed = [this](Disturbance what) {
    boost::asio::post(strand_, [this, what] { disturbed(what); });
  };
  auto intake = Intake::start(std::move(settings), std::move(handlers));
  if (!intake) return tl::unexpected(intake.error());
  intake_ = std::move(*intake);
  return {};
}

tl::expected<void, Error> Service::start_imports() {
  if (imports_) return {};
  auto imports = ImportServer::listen(
      strand_, socket_file(loaded_.history), [this] { return clock_->now(); },
      [this](auto records) {
        std::string reply = import_reply(*room_, std::move(records));
        after_step();
        return reply;
      });
  if (imports) {
    imports_ = std::move(*imports);
  } else if (room_->stands_in()) {
    // A disk that cannot be written has no room for a socket, and a stand-in takes no imports.
    spdlog::warn("imports wait until the history is back: {}", imports.error().text);
  } else {
    return tl::unexpected(imports.error());
  }
  return {};
}

tl::expected<void, Error> Service::start_web() {
  if (!loaded_.settings.web) return {};
  if (!loaded_.web_faults.empty()) {
    for (const config::Fault& fault : loaded_.web_faults) {
      spdlog::error("{}", config::to_text(fault));
    }
    room_->notify(fmt::format("web-{}", unix_ms(since_)),
                  fmt::format("This week: torpor in {} watches, but shows no web pages: {}.",
                              loaded_.settings.storeroom, loaded_.web_faults.front().message));
    return {};
  }
  const config::WebSettings& web = *loaded_.settings.web;
  auto server =
      WebServer::start(web.host, web.port, {web.address, loaded_.web_token}, page_source(loaded_));
  if (!server) return tl::unexpected(server.error());
  web_ = std::move(*server);
  spdlog::info("showing web pages at {}",
               web.address.empty() ? "http://" + web.listen : web.address);
  return {};
}

void Service::wait_for_signals() {
  signals_.add(SIGTERM);
  signals_.add(SIGINT);
  signals_.add(SIGHUP);
  signals_.async_wait([this](const boost::system::error_code& error, int signal) {
    if (error) return;
    if (signal != SIGHUP) return strand_.stop();
    reload();
    wait_for_signals();
  });
}

void Service::run() {
  strand_.run();
  leave();
}

void Service::accepted(InboxRecord record) {
  queued_.fetch_add(1, std::memory_order_relaxed);
  const unsigned of_room = room_number_.load();
  boost::asio::post(strand_, [this, of_room, record = std::move(record)]() mutable {
    queued_.fetch_sub(1, std::memory_order_relaxed);
    if (of_room != room_number_.load()) return;  // its inbox gave it to the room that is now
    room_->accept(std::move(record));
    after_step();
  });
}

bool Service::strand_is_full() const {
  return queued_.load(std::memory_order_relaxed) + waiting_.load(std::memory_order_relaxed) >
         kStrandLimit;
}

void Service::put(InboxPayload payload) {
  const auto appended = room_->inbox().append(payload);
  if (!appended) {
    // Not an acknowledged message: the next timer or link change says it again.
    spdlog::error("an input of the service's own could not be kept: {}", appended.error().text);
    return;
  }
  room_->accept(InboxRecord{appended->sequence, std::move(payload)});
  after_step();
}

void Service::after_step() {
  waiting_.store(room_->waiting_readings(), std::memory_order_relaxed);
  const bool at_once = room_->urgent() || room_->waiting_readings() >= kReadingsPerCommit;
  if (at_once && !history_in_trouble_) {
    if (!commit_posted_) {
      commit_posted_ = true;
      boost::asio::post(strand_, [this] {
        commit_posted_ = false;
        commit();
      });
    }
  } else if (room_->anything_waits()) {
    commit_soon(kCalmCommitPause);
  }
  if (history_in_trouble_) {
    // The phone does not wait for the disk.
    for (OutboxMessage& message : room_->take_outgoing()) outgoing_->send(std::move(message));
  }
  arm_tick();
  work_out_models();
  let_answers_go();
}

void Service::let_answers_go() {
  if (answer_armed_ || !room_->holds_answers()) return;
  answer_armed_ = true;
  answer_timer_.expires_after(kAnswerPatience);
  answer_timer_.async_wait([this](const boost::system::error_code& error) {
    if (error) return;
    answer_armed_ = false;
    room_->release_answers();
    after_step();
  });
}

// One at a time, and not while inputs wait: of many late entries only the last state is worked out.
void Service::work_out_models() {
  if (working_out_ || history_in_trouble_ || queued_.load(std::memory_order_relaxed) > 0) return;
  if (auto next = room_->next_recomputation()) {
    working_out_ = true;
    boost::asio::post(worker_, [this, what = std::move(*next)] {
      boost::asio::post(strand_, [this, worked_out = work_out(what)] { take_model(worked_out); });
    });
  } else if (auto days = room_->next_wanted_days()) {
    working_out_ = true;
    boost::asio::post(worker_, [this, what = std::move(*days)] {
      boost::asio::post(strand_, [this, worked_out = work_out(what)] { take_days(worked_out); });
    });
  }
}

void Service::take_days(const tl::expected<WorkedOutDays, Error>& worked_out) {
  working_out_ = false;
  if (worked_out) {
    room_->keep_days(*worked_out);
    if (room_->anything_waits()) commit_soon(kCalmCommitPause);
    return work_out_models();
  }
  // Tried again with the next input; until then reports step these days themselves.
  spdlog::error("a jar's days could not be worked out: {}", worked_out.error().text);
}

void Service::take_model(const tl::expected<JarModelRecord, Error>& worked_out) {
  working_out_ = false;
  if (worked_out) return put(*worked_out);
  // Tried again with the next input; until then the jar is watched by what was known before.
  spdlog::error("a jar's model could not be worked out anew: {}", worked_out.error().text);
}

void Service::commit_soon(std::chrono::steady_clock::duration pause) {
  const auto due = std::chrono::steady_clock::now() + pause;
  if (commit_armed_ && commit_timer_.expiry() <= due) return;
  commit_armed_ = true;
  commit_timer_.expires_at(due);  // what was armed for later is called off
  commit_timer_.async_wait([this](const boost::system::error_code& error) {
    if (error) return;
    commit_armed_ = false;
    commit();
  });
}

// Once a run: a damaged page does not mend itself, and is met again with every look.
void Service::tell_of_damage() {
  if (damage_told_) return;
  const auto fault = room_->history_fault();
  if (!fault) return;
  damage_told_ = true;
  spdlog::error("a part of the history cannot be read: {}", fault->text);
  room_->notify(fmt::format("damage-{}", unix_ms(clock_->now())),
                fmt::format("Today: torpor in {} cannot read a part of its history: {}. Watching "
                            "goes on. Look at the disk; a backup brings back what is lost.",
                            loaded_.settings.storeroom, fault->text));
}

void Service::commit() {
  tell_of_damage();
  if (const auto committed = room_->commit(); !committed) {
    if (committed.error().kind == ErrorKind::corrupt && !replaced_) {
      replaced_ = true;
      spdlog::error("the history is damaged: {}", committed.error().text);
      return open_anew(committed.error().text);
    }
    if (!history_in_trouble_) {
      history_in_trouble_ = true;
      spdlog::error("the history cannot be written: {}", committed.error().text);
      room_->notify(
          fmt::format("history-{}", unix_ms(clock_->now())),
          fmt::format("Today: torpor in {} cannot write its history: {}. Watching goes on "
                      "from memory. Free space or mend the disk.",
                      loaded_.settings.storeroom, committed.error().text));
    }
    commit_soon(kFailedCommitPause);
  } else if (history_in_trouble_) {
    history_in_trouble_ = false;
    spdlog::info("the history is written again");
    room_->notify(fmt::format("history-{}", unix_ms(clock_->now())),
                  fmt::format("This week: torpor in {} writes its history again; nothing was lost.",
                              loaded_.settings.storeroom));
    after_step();
  }
  work_out_models();
  waiting_.store(room_->waiting_readings(), std::memory_order_relaxed);
  if (outgoing_) {
    for (OutboxMessage& message : room_->take_outgoing()) outgoing_->send(std::move(message));
  }
  resume_if_possible();
}

// Paused because the strand was behind or the spool nearly full: both are over once a commit has
// emptied the inbox.
void Service::resume_if_possible() {
  if (!intake_ || !paused_.load() || history_in_trouble_ || strand_is_full()) return;
  paused_.store(false);
  spdlog::info("taking messages again");
  intake_->resume();
}

void Service::arm_tick() {
  if (loaded_.settings.clock != rules::Clock::wall) return;  // readings carry time on
  const auto due = room_->next_due();
  if (!due) return;
  if (tick_armed_ == due) return;
  tick_armed_ = due;
  tick_timer_.expires_after(std::max<Duration>(*due - clock_->now(), Duration{}));
  tick_timer_.async_wait([this](const boost::system::error_code& error) {
    if (error) return;
    tick_armed_.reset();
    put(TickRecord{clock_->now()});
  });
}

// The broker may have restarted without memory of what it was shown.
void Service::show_all() {
  room_->show_all();
  show_after(kShowNextPause);  // taking readings goes first
  outgoing_->show(topic("service"), service_json("running"));
}

void Service::flush_shown() {
  take_history_back();
  if (const std::uint64_t refused = counters_.refused_in_all(); refused != refused_shown_) {
    refused_shown_ = refused;
    outgoing_->show(topic("service"), service_json("running"));
  }
  const bool were_behind = room_->standings_wait();
  for (auto& [shown_topic, payload] : room_->take_shown(clock_->now())) {
    outgoing_->show(std::move(shown_topic), std::move(payload));
  }
  const bool caught_up = were_behind && !room_->standings_wait();
  if (caught_up || (!damage_told_ && room_->history_fault())) commit();
  if (room_->anything_waits()) commit_soon(kCalmCommitPause);
  show_after(room_->shows_more() ? kShowNextPause : kShowPause);
}

void Service::show_after(std::chrono::steady_clock::duration pause) {
  show_timer_.expires_after(pause);
  show_timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) flush_shown();
  });
}

// On the strand, between two inputs: an engine or a disk that hangs feeds nobody, and the service
// manager starts the service anew.
void Service::feed_watchdog() {
  const auto patience = manager_.patience();
  if (!patience) return;
  manager_.say("WATCHDOG=1");
  watchdog_timer_.expires_after(*patience / 3);
  watchdog_timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) feed_watchdog();
  });
}

// A disk that fills up is an input like any other.
void Service::look_at_board() {
  if (const auto free = board_->changed_disk()) put(DiskRecord{clock_->now(), free->value()});
}

// The history was away and is there again: it is opened, and the inbox gives it all that came
// meanwhile, as after any restart.
void Service::take_history_back() {
  if (!room_->stands_in() || working_out_) return;
  const auto now = std::chrono::steady_clock::now();
  if (taken_back_ && now - *taken_back_ < kTakeBackPause) return;
  if (!is_back(history_place(storeroom_settings(loaded_)))) return;
  taken_back_ = now;
  spdlog::info("the history is there again");
  open_anew({});
  if (room_->stands_in()) return;
  room_->notify(fmt::format("back-{}", unix_ms(clock_->now())),
                fmt::format("This week: torpor in {} has its history back, with all that came "
                            "meanwhile.",
                            loaded_.settings.storeroom));
  after_step();
}

// As a restart would, without leaving the broker for long.
void Service::open_anew(const std::string& found_damage) {
  const bool taking = intake_ != nullptr;
  intake_.reset();  // the broker's session keeps what comes
  reception_.reset();
  integrity_check_.reset();
  room_.reset();  // what it had accepted is in the inbox
  ++room_number_;
  StoreroomSettings settings = storeroom_settings(loaded_);
  settings.found_damage = found_damage;
  auto room = Storeroom::open(std::move(settings), clock_->now());
  // The service manager starts anew, and the inbox has kept everything.
  if (!room) throw std::runtime_error(room.error().text);
  room_ = std::move(*room);
  history_in_trouble_ = false;
  damage_told_ = false;
  paused_.store(false);
  tick_armed_.reset();
  commit();
  if (!taking) return;  // at the start: the rest follows there
  if (auto started = start_imports(); !started) throw std::runtime_error(started.error().text);
  if (auto started = start_intake(); !started) throw std::runtime_error(started.error().text);
  check_integrity();
  show_all();
  after_step();
}

// Each night, at the start if there is none of the last night, and soon after something was told.
void Service::copy_if_due() {
  if (copying_ || room_->stands_in() || history_in_trouble_) return;
  if (room_->journal_entries() == 0 && copied_night_.empty()) return;  // there is nothing to keep
  const auto now = std::chrono::steady_clock::now();
  const std::string night = night_of(loaded_.zone, clock_->now());
  const bool nightly = copied_night_ != night;
  const bool told = room_->journal_entries() != entries_copied_;
  if (!nightly && !(told && (!copied_at_ || now - *copied_at_ >= kCopyPause))) return;
  copying_ = true;
  copied_at_ = now;
  copied_night_ = night;
  const std::uint64_t entries = room_->journal_entries();
  boost::asio::post(worker_, [this, entries, nightly, what = copy_order(loaded_, night)] {
    const std::string failure = make_copies(what, nightly);
    boost::asio::post(strand_, [this, entries, failure] { copied(entries, failure); });
  });
}

void Service::copied(std::uint64_t entries, const std::string& failure) {
  copying_ = false;
  entries_copied_ = entries;
  if (failure.empty()) {
    copy_failed_ = false;
    return;
  }
  spdlog::error("{}", failure);
  if (std::exchange(copy_failed_, true)) return;  // told
  room_->notify(fmt::format("copy-{}", unix_ms(clock_->now())),
                fmt::format("This week: torpor in {} could not make its nightly copy: {}. The "
                            "history itself is whole.",
                            loaded_.settings.storeroom, failure));
  after_step();
}

// And so is a clock that leaps, and one that turns out to have been wrong.
void Service::look_at_clock() {
  clock_timer_.expires_after(kClockPause);
  clock_timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) look_at_clock();
  });
  std::optional<InboxRecord> moved;
  RoomClock::Seen seen;
  {
    // Nothing is stamped by the one clock and appended after the other is in force.
    const std::lock_guard lock(stamping_);
    seen = clock_->look();
    if (seen.move) {
      owed_move_ = ClockMoveRecord{clock_->now(), seen.move->from, seen.move->by};
      reception_->move_stamps(*seen.move);
    }
    if (owed_move_) {
      if (const auto appended = room_->inbox().append(*owed_move_)) {
        moved = InboxRecord{appended->sequence, *owed_move_};
        owed_move_.reset();
      } else {
        spdlog::error("the change of the clock could not be kept: {}", appended.error().text);
      }
    }
  }
  const auto seconds = [](Duration by) {
    return std::chrono::duration_cast<std::chrono::seconds>(by).count();
  };
  if (seen.stepped) {
    spdlog::warn("the board's clock was set by {} s; torpor goes on by its own until it has stood",
                 seconds(*seen.stepped));
    // Data played back has its own time.
    if (loaded_.settings.clock == rules::Clock::wall) {
      put(ClockStepRecord{clock_->now(), *seen.stepped});
    }
  }
  if (seen.came_back) spdlog::info("the board's clock is as before again");
  if (seen.move) {
    spdlog::warn("the board's clock is believed now: {} s from what was taken for the time",
                 seconds(seen.move->by));
    tick_armed_.reset();
    keep_clock();
  }
  if (moved) {
    room_->accept(std::move(*moved));
    after_step();
  }
}

void Service::keep_clock() { room_->keep_note(std::string(kClockNote), to_text(clock_->keep())); }

void Service::beat() {
  look_at_board();
  copy_if_due();
  const std::string state = service_json("running");
  outgoing_->show(topic("service"), state);
  room_->keep_note("service", state);
  keep_clock();
  return_memory();
  beat_timer_.expires_after(kBeat);
  beat_timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error) beat();
  });
}

void Service::intake_state(bool connected, const std::string& reason) {
  // The link has logged why it is down.
  if (connected) spdlog::info("taking readings from the broker");
  // The history is open since start().
  manager_.say(connected ? "READY=1\nSTATUS=Taking readings."
                         : "STATUS=Waiting for the broker: " + reason);
  link_reason_ = reason;
  if (!paused_.load()) takeover_watch_.intake(connected, std::chrono::steady_clock::now());
  tell_of_takeover();
  if (connected != connected_ || link_changed_ == since_) {
    connected_ = connected;
    link_changed_ = clock_->now();
    put(LinkRecord{link_changed_, connected});
  }
  outgoing_->show(topic("service"), service_json("running"));
}

void Service::disturbed(Disturbance what) {
  switch (what) {
    case Disturbance::taken_over:
      takeover_watch_.taken_over();
      break;
    case Disturbance::session_lost:
      takeover_watch_.session_lost();
      break;
    case Disturbance::wrong_door:
      tell_of_wrong_door();
      return;
  }
  tell_of_takeover();
}

// Its own two connections push each other off. Once a run: it does not mend itself.
void Service::tell_of_wrong_door() {
  if (wrong_door_told_) return;
  wrong_door_told_ = true;
  room_->notify(
      fmt::format("door-{}", unix_ms(clock_->now())),
      fmt::format(
          "Now: {}: let `broker: url` in torpor.yaml name the broker's port for the service "
          "(1883, or 8884 encrypted). By the sensors' port torpor pushes itself off the "
          "broker, and readings get lost. README, \"Passwords\".",
          loaded_.settings.storeroom));
  after_step();
}

void Service::tell_of_takeover() {
  if (!takeover_watch_.take_notice(std::chrono::steady_clock::now())) return;
  const std::string& storeroom = loaded_.settings.storeroom;
  spdlog::error(
      "another program connects to the broker as torpor-{}-intake or -outgoing; the broker's log "
      "names its address and user",
      storeroom);
  room_->notify(
      fmt::format("takeover-{}", unix_ms(clock_->now())),
      fmt::format(
          "Now: {0}: find out in the broker's log who connects as torpor-{0}-..., and change "
          "that password. It pushes torpor off the broker, and readings get lost. If a "
          "second torpord runs for {0}, stop it. README, \"Passwords\", says how to shut "
          "sensors and phones out of torpor's place.",
          storeroom));
  after_step();
}

void Service::empty_orphans(const std::vector<std::string>& retained) {
  std::set<std::string> living;
  for (const std::string& rest : room_->living_topics()) living.insert(topic(rest));
  for (const std::string& orphan : retained) {
    if (living.contains(orphan)) continue;
    spdlog::info("emptying the retained topic {}, which an earlier run left behind", orphan);
    outgoing_->show(orphan, "");
  }
}

void Service::reload() {
  auto loaded = load_settings(config_file_);
  if (!loaded) {
    for (const config::Fault& fault : loaded.error()) spdlog::error("{}", config::to_text(fault));
    const config::Fault& first = loaded.error().front();
    room_->notify(
        fmt::format("reload-{}", unix_ms(clock_->now())),
        fmt::format("This week: the changed configuration has {} fault(s) and is not used; "
                    "the old one stays. The first: {}:{}:{}: {}",
                    loaded.error().size(), first.file, first.at.line, first.at.column,
                    first.message));
    after_step();
    return;
  }
  if (const std::string fixed = needs_restart(loaded_, *loaded); !fixed.empty()) {
    spdlog::warn("{} changed in the configuration; that part needs a restart of torpord", fixed);
  }
  if (auto changed = room_->reconfigure(loaded->settings, loaded->book, clock_->now()); !changed) {
    spdlog::error("the new configuration could not be taken over: {}", changed.error().text);
    return;
  }
  intake_.reset();
  loaded_.settings.sensors = loaded->settings.sensors;
  loaded_.settings.places = loaded->settings.places;
  loaded_.settings.quiet = loaded->settings.quiet;
  loaded_.book = loaded->book;
  loaded_.copies = loaded->copies;
  loaded_.texts = loaded->texts;
  if (web_) web_->use(page_source(loaded_));
  if (auto started = start_intake(); !started) {
    spdlog::error("the intake could not be started again: {}", started.error().text);
    strand_.stop();
    return;
  }
  spdlog::info("the configuration was read again: {} sensors, {} rules",
               loaded_.settings.sensors.size(), loaded_.book.size());
  after_step();
}

void Service::leave() {
  spdlog::info("leaving");
  replaced_ = true;  // that is for the next start
  manager_.say("STOPPING=1\nSTATUS=Saying farewell.");
  worker_.join();
  intake_.reset();  // what it had acknowledged is in the inbox
  imports_.reset();
  web_.reset();
  integrity_check_.reset();
  strand_.restart();
  strand_.poll();  // records handed over while it stopped
  room_->keep_note("service", service_json("gone"));
  keep_clock();
  commit();
  if (!room_->stands_in() && !history_in_trouble_ && room_->journal_entries() != entries_copied_) {
    const std::string failure =
        make_copies(copy_order(loaded_, night_of(loaded_.zone, clock_->now())), false);
    if (!failure.empty()) spdlog::error("{}", failure);
  }
  outgoing_->finish(
      {{fmt::format("farewell-{}", unix_ms(clock_->now())), topic("notice"),
        fmt::format("Today: torpor in {} was stopped; nobody watches the jars until it "
                    "runs again.",
                    loaded_.settings.storeroom),
        false, ""},
       {"gone", topic("service"), service_json("gone"), true, ""}},
      kFarewellPatience);
  strand_.restart();
  strand_.poll();  // deliveries reported meanwhile
  commit();
}

std::string Service::topic(std::string_view rest) const {
  return topic_of(loaded_.settings.storeroom, rest);
}

std::string Service::service_json(std::string_view state) const {
  nlohmann::ordered_json json;
  json["state"] = state;
  json["version"] = kVersion;
  json["since"] = to_rfc3339(since_);
  json["as_of"] = to_rfc3339(clock_->now());
  nlohmann::ordered_json& intake = json["intake"];
  intake["connected"] = connected_;
  intake[connected_ ? "connected_since" : "lost_since"] = to_rfc3339(link_changed_);
  if (!connected_) intake["reason"] = link_reason_;
  intake["paused"] = paused_.load();
  json["messages"] = {{"arrived", counters_.messages.load()},
                      {"accepted", counters_.accepted.load()},
                      {"unknown_topic", counters_.unknown_topic.load()},
                      {"tells_refused", counters_.tells_refused.load()}};
  nlohmann::ordered_json& refused = json["refused"];
  for (int reason = 0; reason < kRefusalCount; ++reason) {
    refused[std::string(refusal_name(static_cast<Refusal>(reason)))] =
        counters_.refused[static_cast<std::size_t>(reason)].load();
  }
  const ReadingCounters readings = room_ ? room_->readings() : ReadingCounters{};
  json["readings"] = {{"fresh", readings.fresh},
                      {"known", readings.known},
                      {"conflicting", readings.conflicting},
                      {"late", readings.late},
                      {"untrusted", readings.untrusted}};
  json["history"] = {{"written", !history_in_trouble_},
                     {"readable", !(room_ && room_->history_fault())},
                     {"away", room_ && room_->stands_in()},
                     {"damaged_records", room_ ? room_->inbox().damaged() : 0}};
  return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
}

}  // namespace torpor::daemon

// The running service: the strand that drives one Storeroom, and the threads around it. The strand
// is one io_context run by one thread; everything marked "strand only" is touched there alone.
//
//   paho's receive thread: link -> Reception -> inbox append -> return (the acknowledgement)
//   strand:                accepted record -> Storeroom -> commit -> Outgoing
//   publisher thread:      Outgoing -> paho -> delivered -> strand
//   worker thread:         a jar's model worked out anew -> inbox -> strand
//   two web threads:       sockets, pages (web_server.h); they only read the history's file
#pragma once

#include <atomic>
#include <chrono>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <tl/expected.hpp>

#include "daemon/clock/board_clock.h"
#include "daemon/error.h"
#include "daemon/link/link.h"
#include "daemon/service/board.h"
#include "daemon/service/import_server.h"
#include "daemon/service/load_settings.h"
#include "daemon/service/reception.h"
#include "daemon/service/service_manager.h"
#include "daemon/service/storeroom.h"
#include "daemon/service/takeover_watch.h"

namespace torpor::daemon {

class IntegrityCheck;
class WebServer;

class Service {
 public:
  Service(Loaded loaded, std::filesystem::path config_file);
  ~Service();
  Service(const Service&) = delete;
  Service& operator=(const Service&) = delete;

  // Opens history, publisher, import socket, web pages and intake, in this order. The broker need
  // not be up.
  [[nodiscard]] tl::expected<void, Error> start();
  // Until SIGTERM or SIGINT. Leaves cleanly: intake first, then the last commit, then the farewell.
  void run();

 private:
  // Start-up steps.
  [[nodiscard]] tl::expected<void, Error> start_outgoing();
  [[nodiscard]] tl::expected<void, Error> start_intake();
  [[nodiscard]] tl::expected<void, Error> start_imports();
  [[nodiscard]] tl::expected<void, Error> start_web();
  void wait_for_signals();

  // Any thread.
  void accepted(InboxRecord record);
  [[nodiscard]] bool strand_is_full() const;

  // Strand only.
  void put(InboxPayload payload);  // an input of the service's own: tick, link state
  void after_step();
  void commit();
  void let_answers_go();
  void commit_soon(std::chrono::steady_clock::duration pause);
  void arm_tick();
  void show_all();
  void flush_shown();
  void show_after(std::chrono::steady_clock::duration pause);
  void beat();
  void look_at_board();
  void look_at_clock();
  void keep_clock();
  void feed_watchdog();
  void resume_if_possible();
  void take_history_back();
  void open_anew(const std::string& found_damage);
  void copy_if_due();
  void copied(std::uint64_t entries, const std::string& failure);
  void check_integrity();
  void tell_of_damage();
  void work_out_models();
  void take_model(const tl::expected<JarModelRecord, Error>& worked_out);
  void take_days(const tl::expected<WorkedOutDays, Error>& worked_out);
  void intake_state(bool connected, const std::string& reason);
  void disturbed(Disturbance what);
  void tell_of_takeover();
  void tell_of_wrong_door();
  void empty_orphans(const std::vector<std::string>& retained);
  void reload();
  void leave();
  [[nodiscard]] std::string service_json(std::string_view state) const;
  [[nodiscard]] std::string topic(std::string_view rest) const;

  // Constant after construction.
  const std::filesystem::path config_file_;

  // Strand only.
  Loaded loaded_;
  Instant since_{};
  boost::asio::io_context strand_{1};
  boost::asio::signal_set signals_{strand_};
  boost::asio::steady_timer commit_timer_{strand_};
  boost::asio::steady_timer answer_timer_{strand_};
  bool answer_armed_ = false;
  boost::asio::steady_timer tick_timer_{strand_};
  boost::asio::steady_timer clock_timer_{strand_};
  boost::asio::steady_timer show_timer_{strand_};
  boost::asio::steady_timer beat_timer_{strand_};
  std::unique_ptr<Board> board_;
  const ServiceManager manager_ = ServiceManager::from_environment();
  boost::asio::steady_timer watchdog_timer_{strand_};
  std::unique_ptr<Storeroom> room_;
  std::optional<Instant> tick_armed_;         // the time the tick timer waits for
  std::uint64_t refused_shown_ = 0;           // refusals that the service topic has told of
  std::optional<ClockMoveRecord> owed_move_;  // not in the inbox yet
  bool commit_posted_ = false;
  bool commit_armed_ = false;
  bool history_in_trouble_ = false;
  bool damage_told_ = false;
  bool replaced_ = false;     // the history, since it could not be written: once a run
  bool working_out_ = false;  // a model, on the worker thread
  std::optional<std::chrono::steady_clock::time_point> taken_back_;  // when it was last tried
  // The nightly copy.
  bool copying_ = false;  // on the worker thread
  bool copy_failed_ = false;
  std::string copied_night_;          // of the last one, "2026-03-02"; empty: there is none
  std::uint64_t entries_copied_ = 0;  // of the journal
  std::optional<std::chrono::steady_clock::time_point> copied_at_;
  bool connected_ = false;
  Instant link_changed_;
  TakeoverWatch takeover_watch_;
  bool wrong_door_told_ = false;
  std::string link_reason_ = "not connected yet";

  // Any thread.
  std::unique_ptr<BoardClock> clock_;
  std::mutex stamping_;  // held while something that came in is stamped and appended
  IntakeCounters counters_;
  std::atomic<std::size_t> queued_{0};    // records handed over and not yet applied
  std::atomic<std::size_t> waiting_{0};   // readings applied and not yet committed
  std::atomic<bool> paused_{false};       // the intake was told to stop
  std::atomic<unsigned> room_number_{0};  // of room_: counts those before it

  // In order of need: each is destroyed before what it uses.
  std::unique_ptr<Reception> reception_;
  std::unique_ptr<ImportServer> imports_;
  std::unique_ptr<Outgoing> outgoing_;
  std::unique_ptr<Intake> intake_;
  std::unique_ptr<IntegrityCheck> integrity_check_;
  std::unique_ptr<WebServer> web_;  // nullptr: not configured
  boost::asio::thread_pool worker_{1};
};

}  // namespace torpor::daemon

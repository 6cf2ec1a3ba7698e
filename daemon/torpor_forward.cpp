// torpor-forward: a process of its own that keeps a PostgreSQL database up to date with one
// history. It only reads the history, so the service never waits for it.
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <ctime>
#include <fstream>
#include <memory>
#include <string>

#include "daemon/command/arguments.h"
#include "daemon/command/terminal.h"
#include "daemon/forward/forwarder.h"
#include "daemon/service/storeroom.h"
#include "daemon/version.h"

namespace torpor::daemon {
namespace {

constexpr Duration kFirstPause = std::chrono::seconds(1);
constexpr Duration kLongestPause = std::chrono::minutes(5);

struct Order {
  std::string config = "/etc/torpor/torpor.yaml";
  std::string to, to_file, every = "1 min";
  bool once = false;
};

// False: it is to end.
bool rest(Duration pause) {
  sigset_t ends;
  sigemptyset(&ends);
  sigaddset(&ends, SIGTERM);
  sigaddset(&ends, SIGINT);
  const auto seconds = std::chrono::floor<std::chrono::seconds>(pause);
  const timespec longest{static_cast<std::time_t>(seconds.count()),
                         static_cast<long>((pause - seconds).count()) * 1'000'000};
  return ::sigtimedwait(&ends, nullptr, &longest) < 0;
}

int fail(const Failure& failure) {
  std::fprintf(stderr, "torpor-forward: %s\n", failure.text.c_str());
  return static_cast<int>(failure.code);
}

// The first line: a password in it is nobody else's to see.
tl::expected<std::string, Failure> connection_of(const Order& order) {
  if (order.to_file.empty()) return order.to;
  std::ifstream file(order.to_file);
  std::string line;
  if (!std::getline(file, line) || line.empty()) {
    return usage("--to-file " + order.to_file +
                 " cannot be read, or its first line is empty; expected a connection such as "
                 "host=db.lan dbname=torpor");
  }
  return line;
}

class Loop {
 public:
  Loop(std::string connection, Loaded loaded)
      : connection_(std::move(connection)), loaded_(std::move(loaded)) {}

  tl::expected<Forwarded, Error> pass() {
    auto reader = Reader::open(loaded_.history, spool_folder(loaded_.history));
    if (!reader) return tl::unexpected(reader.error());
    if (!forwarder_) {
      auto connected = Forwarder::connect(connection_, loaded_.settings.storeroom);
      if (!connected) return tl::unexpected(connected.error());
      forwarder_ = std::move(*connected);
    }
    auto sent = forwarder_->forward(**reader);
    // Whatever it was: the next try begins with a connection of its own.
    if (!sent) forwarder_.reset();
    return sent;
  }

  // Until it is told to end.
  void run(Duration every) {
    Duration pause = kFirstPause;
    bool failing = false;
    do {
      const auto sent = pass();
      if (sent) {
        if (failing || !sent->nothing()) {
          spdlog::info("{} readings, {} journal entries, {} alert changes forwarded",
                       sent->readings, sent->entries, sent->alert_changes);
        }
        failing = false;
        pause = kFirstPause;
      } else {
        // Once, not at every try.
        if (!failing) spdlog::error("{}; trying on, nothing is lost", sent.error().text);
        failing = true;
        pause = std::min(2 * pause, kLongestPause);
      }
    } while (rest(failing ? pause : every));
  }

 private:
  const std::string connection_;
  const Loaded loaded_;
  std::unique_ptr<Forwarder> forwarder_;
};

int run(const Order& order) {
  const auto every = read_duration(order.every);
  if (!every) return fail({ExitCode::usage, "--every: " + every.error()});
  const auto connection = connection_of(order);
  if (!connection) return fail(connection.error());
  auto loaded = load_for_command(order.config, Purpose::history);
  if (!loaded) return fail(loaded.error());
  Loop loop(*connection, std::move(*loaded));
  if (order.once) {
    const auto sent = loop.pass();
    if (!sent) return fail(failure_of(sent.error()));
    std::printf("%llu readings, %llu journal entries, %llu alert changes forwarded\n",
                static_cast<unsigned long long>(sent->readings),
                static_cast<unsigned long long>(sent->entries),
                static_cast<unsigned long long>(sent->alert_changes));
    return 0;
  }
  auto log = spdlog::stderr_color_mt("torpor-forward");
  log->set_pattern("%Y-%m-%dT%H:%M:%S.%e %l: %v");
  log->flush_on(spdlog::level::info);
  spdlog::set_default_logger(std::move(log));
  loop.run(*every);
  return 0;
}

}  // namespace
}  // namespace torpor::daemon

int main(int argc, char** argv) {
  using namespace torpor::daemon;
  // Taken by rest(), between two passes.
  sigset_t ends;
  sigemptyset(&ends);
  sigaddset(&ends, SIGTERM);
  sigaddset(&ends, SIGINT);
  ::sigprocmask(SIG_BLOCK, &ends, nullptr);
  CLI::App app{"torpor-forward keeps a PostgreSQL database up to date with a history."};
  Order order;
  app.add_option("--config", order.config, "The configuration of the service")
      ->capture_default_str();
  CLI::Option* to = app.add_option("--to", order.to,
                                   "The database: host=db.lan dbname=torpor, or postgresql://...");
  CLI::Option* to_file = app.add_option("--to-file", order.to_file,
                                        "A file whose first line is that, with a password");
  to->excludes(to_file);
  app.add_option("--every", order.every, "How often to look for what is new")
      ->capture_default_str();
  app.add_flag("--once", order.once, "Forward what is missing and end");
  app.set_version_flag("--version", std::string("torpor-forward ") + kVersion);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : static_cast<int>(ExitCode::usage);
  }
  if (order.to.empty() && order.to_file.empty()) {
    return fail({ExitCode::usage, "which database? Say it with --to or --to-file"});
  }
  try {
    return run(order);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "torpor-forward: %s\n", error.what());
    return static_cast<int>(ExitCode::failed);
  }
}

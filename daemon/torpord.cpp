// torpord: the service. Reads its configuration, says what is wrong with it, or runs until SIGTERM.
// main() is the start-up order, one step a line; service.h draws the threads.
#include <malloc.h>
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>
#include <sys/stat.h>

#include <CLI/CLI.hpp>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>

#include "daemon/history/folder_owner.h"
#include "daemon/history/open_history.h"
#include "daemon/history/small_copy.h"
#include "daemon/service/load_settings.h"
#include "daemon/service/service.h"
#include "daemon/service/storeroom.h"
#include "daemon/version.h"

namespace {

using namespace torpor;

constexpr int kFailed = 1;
constexpr int kUsageOrConfiguration = 2;

void print_each(const std::vector<config::Fault>& faults, const char* kind = "") {
  for (const config::Fault& fault : faults) {
    std::fprintf(stderr, "%s%s\n", kind, config::to_text(fault).c_str());
  }
}

void print_faults(const std::vector<config::Fault>& faults) {
  print_each(faults);
  std::fprintf(stderr, "%zu fault%s; nothing was started\n", faults.size(),
               faults.size() == 1 ? "" : "s");
}

// What the service would run, for --check.
void print_plan(const daemon::Loaded& loaded) {
  const config::Settings& settings = loaded.settings;
  std::printf("storeroom %s, zone %s\n", settings.storeroom.c_str(), loaded.zone.zone().c_str());
  std::printf("broker %s://%s:%d%s%s\n", settings.broker.encrypted ? "mqtts" : "mqtt",
              settings.broker.host.c_str(), settings.broker.port,
              settings.broker.user.empty() ? "" : " as ", settings.broker.user.c_str());
  std::printf("history %s\n", loaded.history.c_str());
  // What a person has chosen, in what it costs.
  const bool power_cut = settings.history.survives == config::Survives::power_cut;
  std::printf("  survives: %s\n",
              power_cut
                  ? "power-cut: a power cut loses nothing; each message is written through to "
                    "the disk"
                  : "crash: a power cut loses the readings of the last minute at most; what "
                    "you tell is on the disk before it is answered");
  std::printf("  nightly copy: in %s%s%s\n", daemon::copies_folder(loaded.history).c_str(),
              loaded.copies.empty() ? "" : " and in ", loaded.copies.c_str());
  if (settings.web) {
    std::printf("web pages on %s%s\n", settings.web->listen.c_str(),
                loaded.web_token.empty() ? "" : ", with a token");
  }
  std::printf("%zu places, %zu sensors, %zu rules\n", settings.places.size(),
              settings.sensors.size(), loaded.book.size());
  for (const config::SensorSettings& sensor : settings.sensors) {
    std::printf("  %s on %s reads %s\n", sensor.spec.id.c_str(),
                (sensor.spec.place.empty() ? "jar " + sensor.spec.jar : sensor.spec.place).c_str(),
                sensor.topic.c_str());
  }
  std::printf("the configuration is good\n");
}

// An arena a thread is for programs whose threads all allocate at once; here each would keep what
// its own peak took. And what is large, a snapshot of megabytes, goes back to the system at once
// instead of leaving holes. After a flood of readings 20 MB are left instead of 33.
void keep_memory_small() {
#ifdef __GLIBC__
  ::mallopt(M_ARENA_MAX, 1);
  ::mallopt(M_MMAP_THRESHOLD, 256 * 1024);
#endif
}

void start_log() {
  // One line an event on standard error; the service manager adds times of its own and keeps it.
  auto log = spdlog::stderr_color_mt("torpord");
  log->set_pattern("%Y-%m-%dT%H:%M:%S.%e %l: %v");
  log->flush_on(spdlog::level::warn);
  spdlog::set_default_logger(std::move(log));
}

// What is there is set aside; the service itself is started as ever.
int begin_anew(const daemon::Loaded& loaded) {
  ::umask(0027);
  const auto now = std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
  const auto kept =
      daemon::begin_new_history(daemon::history_place(daemon::storeroom_settings(loaded)), now);
  if (!kept) {
    std::fprintf(stderr, "torpord: %s\n", kept.error().text.c_str());
    return kFailed;
  }
  daemon::give_to_folders_owner(daemon::real_history(loaded.history));
  std::printf("a new history was begun at %s\n", loaded.history.c_str());
  if (!kept->empty()) std::printf("the one before is kept as %s\n", kept->c_str());
  std::printf("start torpord as ever\n");
  return EXIT_SUCCESS;
}

int run(const std::filesystem::path& config_file, bool check, bool new_history) {
  auto loaded = daemon::load_settings(config_file);
  if (!loaded) {
    print_faults(loaded.error());
    return kUsageOrConfiguration;
  }
  if (check) {
    print_each(loaded->warnings, "warning: ");
    if (!loaded->web_faults.empty()) {
      print_each(loaded->web_faults);
      std::fprintf(stderr, "the service would run without its web pages\n");
      return kUsageOrConfiguration;
    }
    print_plan(*loaded);
    return EXIT_SUCCESS;
  }
  if (new_history) return begin_anew(*loaded);
  // A file at the size it may have is a full disk, which the service lives through.
  std::signal(SIGXFSZ, SIG_IGN);
  ::umask(0027);  // history, inbox and socket: ours and our group's
  keep_memory_small();
  start_log();
  spdlog::info("torpord {} for storeroom {}", daemon::kVersion, loaded->settings.storeroom);
  for (const config::Fault& warning : loaded->warnings) {
    spdlog::warn("{}", config::to_text(warning));
  }
  daemon::Service service(std::move(*loaded), config_file);
  if (const auto started = service.start(); !started) {
    spdlog::critical("{}", started.error().text);
    return kFailed;
  }
  service.run();
  return EXIT_SUCCESS;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"torpord watches jars of dormant culture: readings in over MQTT, alerts out."};
  std::string config_file = "/etc/torpor/torpor.yaml";
  bool check = false;
  app.add_option("--config", config_file, "The configuration file")->capture_default_str();
  app.add_flag("--check", check, "Check the configuration and its rule books, say what would run");
  bool new_history = false;
  app.add_flag("--new-history", new_history,
               "Begin a new history where there was one, and end; what is there is set aside");
  app.set_version_flag("--version", std::string("torpord ") + daemon::kVersion);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? EXIT_SUCCESS : kUsageOrConfiguration;
  }
  try {
    return run(config_file, check, new_history);
  } catch (const std::exception& error) {
    // A broken invariant or no memory: say it and let the service manager start anew.
    std::fprintf(stderr, "torpord: %s\n", error.what());
    return kFailed;
  }
}

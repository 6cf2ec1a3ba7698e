// The configuration file as typed settings. Reads text, never files: the daemon brings the text.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "config/fault.h"
#include "rules/culture/profiles.h"
#include "rules/watch/watch.h"
#include "sensors/payload.h"

namespace torpor::config {

// Largest configuration read: one a person maintains is a few kB.
inline constexpr std::size_t kLargestSettings = std::size_t{1024} * 1024;

// `expected_interval` where it is not given. Long on purpose: for a sensor that speaks less often
// than assumed the value would be unknown most of the time and no rule could ever be met. Battery
// room sensors speak every 5 to 15 min (common practice, no source); half an hour of `hold` is
// small against the hours a jar takes to follow the air.
inline constexpr Duration kDefaultExpectedInterval = std::chrono::minutes(10);

enum class Survives { crash, power_cut };

struct HistorySettings {
  // As written; relative: to the configuration's folder.
  std::string file = "/var/lib/torpor/history.sqlite3";
  Survives survives = Survives::crash;
  // Readings older than this, against the newest one, may go; nullopt: all stay.
  std::optional<Duration> keep;
  // Folder that gets the nightly copy, too, as written; empty: none.
  std::string copy;
};

struct TlsSettings {
  std::string authority;    // PEM file of the certificate authority; empty: the system's
  std::string certificate;  // our own, with key; empty: none
  std::string key;
};

struct BrokerSettings {
  std::string host = "127.0.0.1";  // an IPv6 address without its brackets
  int port = 1883;
  bool encrypted = false;   // mqtts://
  std::string user;         // empty: none
  std::string secret_file;  // first line is the password; empty: none
  TlsSettings tls;
};

struct WebSettings {
  std::string listen;      // "127.0.0.1:8457", as written
  std::string host;        // of listen, an IPv6 address without its brackets
  int port = 0;            // of listen
  std::string address;     // how another device reaches it; empty: not
  std::string token_file;  // first line is the token; always there unless only loopback listens
};

// What a person reads temperatures and weights in. All else is degC and grams: what is computed,
// kept, and given to programs.
struct ShownUnits {
  bool fahrenheit = false;
  bool ounces = false;
};

struct PlaceSettings {
  std::string path;
  bool outside = false;
  std::optional<double> volume_m3;
};

struct SensorSettings {
  rules::SensorSpec spec;  // senml without `measures`: every quantity; hold: 3 intervals
  std::string topic;       // may hold `{sensor}` as one whole level
  PayloadFormat payload;
  Mark at;
};

struct Settings {
  std::string storeroom;
  std::string zone;  // empty: the system's
  Mark zone_at;      // for the daemon's own check of the name
  ShownUnits units;
  rules::Clock clock = rules::Clock::wall;
  HistorySettings history;
  BrokerSettings broker;
  std::optional<WebSettings> web;
  std::optional<rules::QuietHours> quiet;
  std::vector<PlaceSettings> places;
  std::vector<SensorSettings> sensors;
  // "built-in" or a path as written, in order, and where each is written (0:0: the default).
  std::vector<std::string> rulebooks = {"built-in"};
  std::vector<Mark> rulebooks_at = {Mark{}};

  // File of culture profiles as written, and where; empty: the built-in ones.
  std::string cultures_file;
  Mark cultures_at;
  rules::culture::Profiles cultures;  // the built-in ones, until somebody reads that file

  [[nodiscard]] rules::Layout layout() const;
};

// What was read and every fault found. Settings are usable only when faults is empty.
struct SettingsResult {
  Settings settings;
  std::vector<Fault> faults;
};

// `file` names the text in faults. Checks all that needs no other file: syntax, unknown and
// repeated keys, types, units, topics (MQTT filters are refused, torpor/... is refused, two sensors
// that a topic and payload cannot tell apart are refused), places, ids, intervals.
[[nodiscard]] SettingsResult read_settings(std::string_view text, const std::string& file);

}  // namespace torpor::config

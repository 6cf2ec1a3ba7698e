// The configuration with everything it points at: rule books, time zone, secret and certificates.
// The one reader of it for torpord, torpord --check and the command; what config/ cannot check
// because it reads no files is checked here, and all faults are reported together.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

#include "config/fault.h"
#include "config/settings.h"
#include "daemon/ledger/local_time.h"
#include "rules/book/rule.h"

namespace torpor::daemon {

// Where the commands and the service look when nobody says otherwise.
inline constexpr const char kDefaultConfiguration[] = "/etc/torpor/torpor.yaml";

// What the configuration is read for. Someone who may read the history need not be allowed to read
// the broker's secret or the web's token: those are opened only for `broker`.
enum class Purpose { history, broker };

struct Loaded {
  config::Settings settings;  // paths of secret and certificates made absolute
  rules::RuleBook book;
  LocalTime zone;
  std::filesystem::path folder;   // of the configuration; relative paths in it start here
  std::filesystem::path history;  // the SQLite file, absolute
  std::filesystem::path marker;   // what knows that there was one, in the folder of our state
  std::filesystem::path copies;   // folder of a second nightly copy, absolute; empty: none
  // This file, the rule books and the cultures, as they were read; no secrets.
  std::vector<std::pair<std::string, std::string>> texts;
  std::string secret;     // the broker's password; empty: none, or not asked for
  std::string web_token;  // of the web pages; as `secret`
  // What is wrong with the token's file: the pages stay off then, and only they; for --check faults
  // like any other.
  std::vector<config::Fault> web_faults;
  // What works and should not stay so.
  std::vector<config::Fault> warnings;
};

// Every fault found, never empty on failure. A rule book that cannot be read is a fault where the
// configuration names it; faults inside a rule book carry that book's file name.
// `rules`, if not empty, takes the place of the rule books that the configuration names: a file, or
// built-in.
[[nodiscard]] tl::expected<Loaded, std::vector<config::Fault>> load_settings(
    const std::filesystem::path& file, Purpose purpose = Purpose::broker,
    const std::filesystem::path& rules = {});

}  // namespace torpor::daemon

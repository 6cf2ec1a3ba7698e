#include "daemon/service/load_settings.h"

#include <algorithm>

#include <fmt/format.h>

#include <cerrno>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <optional>
#include <string_view>
#include <system_error>
#include <utility>

#include <boost/crc.hpp>

#include "config/cultures.h"
#include "config/rulebook.h"
#include "daemon/service/secret_files.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;
using config::Fault;
using config::Mark;

// A password is a line, not a file that happens to be named so.
constexpr std::size_t kLongestSecret = 4096;

// At most `limit` bytes and one more, so that a reader with a limit sees that it is exceeded.
tl::expected<std::string, std::string> text_of(const fs::path& file, std::size_t limit) {
  std::error_code unknown;
  if (fs::is_directory(file, unknown)) return tl::unexpected(std::string("it is a folder"));
  errno = 0;
  std::ifstream stream(file, std::ios::binary);
  if (!stream) return tl::unexpected(std::generic_category().message(errno));
  std::string text(limit + 1, '\0');
  stream.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (stream.bad()) return tl::unexpected(std::generic_category().message(EIO));
  text.resize(static_cast<std::size_t>(stream.gcount()));
  return text;
}

std::string line_of(std::string_view text, int line) {
  for (; line > 1 && !text.empty(); --line) {
    const std::size_t end = text.find('\n');
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  std::string_view found = text.substr(0, text.find('\n'));
  if (!found.empty() && found.back() == '\r') found.remove_suffix(1);
  return std::string(found);
}

// A credential of the file's name that the service manager hands over (LoadCredential= in the unit
// file: read by it, shown to the service alone) stands for the file.
std::string handed_over(const std::string& file) {
  const char* folder = std::getenv("CREDENTIALS_DIRECTORY");
  if (folder == nullptr) return file;
  const fs::path credential = fs::path(folder) / fs::path(file).filename();
  std::error_code absent;
  return fs::exists(credential, absent) ? credential.string() : file;
}

// Where the service keeps what it knows beside its history: the folder that the service manager
// gives it; the commands find it where the package puts it. Else beside the configuration.
fs::path state_folder(const fs::path& configuration_folder) {
  const char* given = std::getenv("STATE_DIRECTORY");
  if (given != nullptr && *given == '/') {
    const std::string_view folders(given);
    return folders.substr(0, folders.find(':'));
  }
  const fs::path packaged = fs::path(kDefaultConfiguration).parent_path();
  return configuration_folder == packaged ? fs::path("/var/lib/torpor") : configuration_folder;
}

// One for each configuration file: two of a name have different folders.
fs::path marker_of(const fs::path& file, const fs::path& folder) {
  boost::crc_32_type crc;
  const std::string path = (folder / file.filename()).string();
  crc.process_bytes(path.data(), path.size());
  return state_folder(folder) /
         fmt::format(".{}-{:08x}.history", file.filename().string(), crc.checksum());
}

// One reading of one configuration.
class Loading {
 public:
  Loading(fs::path file, std::string text) : file_(std::move(file)), text_(std::move(text)) {
    auto read = config::read_settings(text_, file_.string());
    settings = std::move(read.settings);
    faults = std::move(read.faults);
    std::error_code unresolved;  // then relative paths stay relative to the working folder
    folder = fs::absolute(file_, unresolved).parent_path();
    texts.emplace_back(file_.filename().string(), text_);
  }

  void take_rules_of(const fs::path& rules) {
    std::error_code unresolved;  // then the path as typed, and reading it says what is wrong
    const fs::path absolute = fs::absolute(rules, unresolved);
    const bool own = rules == "built-in" || unresolved;
    settings.rulebooks = {(own ? rules : absolute).string()};
    settings.rulebooks_at.clear();
  }

  void read_rulebooks() {
    for (std::size_t i = 0; i < settings.rulebooks.size(); ++i) {
      const std::string& name = settings.rulebooks[i];
      if (name == "built-in") {
        append(config::built_in_rulebook(), name);
        continue;
      }
      const Mark at = i < settings.rulebooks_at.size() ? settings.rulebooks_at[i] : Mark{};
      const fs::path path = folder / name;
      const auto text = text_of(path, config::kLargestRuleBook);
      if (!text) {
        fault(at, fmt::format("the rule book {} cannot be read: {}; a relative path starts at the "
                              "folder of this file, and `built-in` names the book that comes with "
                              "torpor",
                              path.string(), text.error()));
        continue;
      }
      texts.emplace_back(name, *text);
      append(*text, path.string());
    }
  }

  void read_cultures() {
    if (settings.cultures_file.empty()) return;
    const fs::path path = folder / settings.cultures_file;
    const auto text = text_of(path, config::kLargestCultures);
    if (!text) {
      fault(settings.cultures_at,
            fmt::format("the culture profiles {} cannot be read: {}; a relative path starts at the "
                        "folder of this file",
                        path.string(), text.error()));
      return;
    }
    texts.emplace_back(settings.cultures_file, *text);
    const auto found = config::read_cultures(*text, path.string(), settings.cultures);
    faults.insert(faults.end(), found.begin(), found.end());
  }

  void find_zone() {
    auto found = LocalTime::in_zone(settings.zone);
    if (found) {
      zone = std::move(*found);
    } else {
      fault(settings.zone_at, found.error());
    }
  }

  void read_secret() {
    if (settings.broker.secret_file.empty()) return;
    const std::string secret_file = handed_over(settings.broker.secret_file);
    const auto text = text_of(secret_file, kLongestSecret);
    if (!text) {
      fault({}, fmt::format("broker: the secret {} cannot be read: {}; it must be there, for root "
                            "and torpord alone: run a command with sudo",
                            secret_file, text.error()));
      return;
    }
    secret = line_of(*text, 1);
    if (secret.empty() || text->size() > kLongestSecret) {
      fault({}, fmt::format("broker: the secret {} must hold the password as its first line; that "
                            "line is {}",
                            secret_file, secret.empty() ? "empty" : "longer than 4096 bytes"));
    }
  }

  // The password works all the same: a service that does not start watches nobody.
  void check_secret_file() {
    const std::string& file = settings.broker.secret_file;
    if (file.empty()) return;
    if (const std::string readers = others_who_may_read(file); !readers.empty()) {
      warnings.push_back({file_.string(),
                          {},
                          fmt::format("broker: the secret {0} can be read by {1}, who can then "
                                      "connect in torpor's place; say `chmod 600 {0}`",
                                      file, readers),
                          ""});
    }
  }

  // What is wrong with the token keeps the pages off, and nothing else.
  void read_web_token() {
    if (!settings.web || settings.web->token_file.empty()) return;
    const std::string& file = settings.web->token_file;
    const auto refuse = [this](std::string message) {
      web_faults.push_back({file_.string(), {}, std::move(message), ""});
    };
    const auto text = text_of(file, kLongestSecret);
    if (!text) {
      return refuse(fmt::format(
          "web: the token {} cannot be read: {}; it must be readable by the user torpord runs as, "
          "and by nobody else",
          file, text.error()));
    }
    const std::string line = line_of(*text, 1);
    const std::string weakness =
        text->size() > kLongestSecret ? "it is longer than 4096 bytes" : token_weakness(line);
    if (!weakness.empty()) {
      refuse(
          fmt::format("web: the token {0} is easy to guess: {1}; make one by chance, with "
                      "`head -c 12 /dev/urandom | base64 > {0}`",
                      file, weakness));
    }
    if (const std::string readers = others_who_may_read(file); !readers.empty()) {
      refuse(
          fmt::format("web: the token {0} can be read by {1}; say `chmod 600 {0}`, and `chown` "
                      "it to the user torpord runs as",
                      file, readers));
    }
    if (web_faults.empty()) web_token = line;
  }

  void check_certificates() {
    const config::TlsSettings& tls = settings.broker.tls;
    const auto check = [this](std::string_view what, const std::string& path) {
      if (path.empty()) return;
      if (const auto text = text_of(path, 0); !text) {
        fault({},
              fmt::format("broker: tls: the {} {} cannot be read: {}", what, path, text.error()));
      }
    };
    check("authority", tls.authority);
    check("certificate", tls.certificate);
    check("key", tls.key);
  }

  void make_absolute() {
    config::BrokerSettings& broker = settings.broker;
    for (std::string* path :
         {&broker.secret_file, &broker.tls.authority, &broker.tls.certificate, &broker.tls.key}) {
      if (!path->empty()) *path = (folder / *path).string();
    }
    if (settings.web && !settings.web->token_file.empty()) {
      settings.web->token_file = (folder / settings.web->token_file).string();
    }
  }

  config::Settings settings;
  std::vector<Fault> faults;
  rules::RuleBook book;
  std::optional<LocalTime> zone;
  fs::path folder;
  std::string secret, web_token;
  std::vector<Fault> web_faults, warnings;
  std::vector<std::pair<std::string, std::string>> texts;

 private:
  void append(std::string_view text, const std::string& name) {
    auto read = config::read_rulebook(text, name);
    faults.insert(faults.end(), read.faults.begin(), read.faults.end());
    read.faults.clear();
    for (const rules::Rule& rule : read.rules) check_places(rule, name);
    config::append_rules(book, std::move(read), text, name, faults);
  }

  // A book is read without knowing the places; a rule about one that is not there would be unknown
  // for ever and watch nothing.
  void check_places(const rules::Rule& rule, const std::string& book_name) {
    std::vector<std::string> known;
    known.reserve(settings.places.size());
    for (const config::PlaceSettings& place : settings.places) known.push_back(place.path);
    std::vector<std::string> named = rules::places_named(rule.when);
    if (rule.until) {
      for (std::string& place : rules::places_named(*rule.until)) named.push_back(std::move(place));
    }
    for (const std::string& place : named) {
      if (std::find(known.begin(), known.end(), place) != known.end()) continue;
      const std::string near = config::nearest_word(place, known);
      faults.push_back({book_name,
                        {},
                        fmt::format("the rule `{}` speaks of the place `{}`, which is not "
                                    "configured{}",
                                    rule.name, place,
                                    near.empty() ? "" : fmt::format("; did you mean `{}`?", near)),
                        ""});
    }
  }

  void fault(Mark at, std::string message) {
    faults.push_back({file_.string(), at, std::move(message),
                      at.line > 0 ? line_of(text_, at.line) : std::string()});
  }

  fs::path file_;
  std::string text_;
};

}  // namespace

tl::expected<Loaded, std::vector<config::Fault>> load_settings(const fs::path& file,
                                                               Purpose purpose,
                                                               const fs::path& rules) {
  auto text = text_of(file, config::kLargestSettings);
  if (!text) {
    return tl::unexpected(
        std::vector<Fault>{{file.string(),
                            {},
                            fmt::format("the configuration cannot be read: {}", text.error()),
                            ""}});
  }
  Loading loading(file, std::move(*text));
  loading.make_absolute();
  loading.find_zone();
  if (!rules.empty()) loading.take_rules_of(rules);
  loading.read_rulebooks();
  loading.read_cultures();
  if (purpose == Purpose::broker) {
    loading.read_secret();
    loading.check_secret_file();
    loading.read_web_token();
    loading.check_certificates();
  }
  if (!loading.faults.empty()) return tl::unexpected(std::move(loading.faults));
  return Loaded{loading.settings,
                std::move(loading.book),
                *loading.zone,
                loading.folder,
                loading.folder / loading.settings.history.file,
                marker_of(file, loading.folder),
                loading.settings.history.copy.empty()
                    ? fs::path()
                    : loading.folder / loading.settings.history.copy,
                std::move(loading.texts),
                std::move(loading.secret),
                std::move(loading.web_token),
                std::move(loading.web_faults),
                std::move(loading.warnings)};
}

}  // namespace torpor::daemon

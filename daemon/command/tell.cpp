#include "daemon/command/tell.h"

#include <fmt/format.h>
#include <pwd.h>
#include <unistd.h>

#include <cstdlib>
#include <nlohmann/json.hpp>
#include <string_view>

#include "daemon/command/terminal.h"
#include "daemon/ledger/ledger.h"
#include "daemon/link/tell_client.h"
#include "daemon/report/printable.h"
#include "daemon/service/broker_access.h"
#include "daemon/service/load_settings.h"

namespace torpor::daemon {
namespace {

std::string shown(const std::string& answer, bool refused, bool json) {
  if (!json) return printable(answer) + '\n';
  nlohmann::ordered_json tree;
  tree["answer"] = answer;
  tree["refused"] = refused;
  return tree.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + '\n';
}

}  // namespace

// A note of who it was, not a proof; the journal says so too.
std::string login_name() {
  // Who became root by sudo is still who speaks.
  const char* person = ::getuid() == 0 ? std::getenv("SUDO_USER") : nullptr;
  if (person != nullptr && *person != '\0') return person;
  const ::passwd* entry = ::getpwuid(::getuid());
  return entry == nullptr ? std::string() : std::string(entry->pw_name);
}

tl::expected<Answer, Failure> tell_sentence(const Telling& telling,
                                            const std::filesystem::path& config) {
  if (telling.sentence.empty()) {
    return tl::unexpected(
        Failure{ExitCode::usage, "tell what? For example: torpor tell 'ask jars'"});
  }
  if (telling.sentence.size() > kLongestSentence) {
    return tl::unexpected(
        Failure{ExitCode::refused,
                fmt::format("the sentence has {} bytes and at most {} are taken: tell it in parts",
                            telling.sentence.size(), kLongestSentence)});
  }
  const auto loaded = load_for_command(config, Purpose::broker);
  if (!loaded) return tl::unexpected(loaded.error());
  TellSettings settings;
  settings.access = broker_access(*loaded);
  settings.storeroom = loaded->settings.storeroom;
  settings.by = telling.by.empty() ? login_name() : telling.by;
  const auto answer = tell(settings, telling.sentence);
  if (!answer) {
    Failure failure = failure_of(answer.error());
    // A broker that turns us away is as far as one that is down: the service was not reached.
    if (answer.error().kind == ErrorKind::refused) failure.code = ExitCode::not_reached;
    return tl::unexpected(std::move(failure));
  }
  const bool refused = answer->starts_with(kNotRecorded);
  return Answer{shown(*answer, refused, telling.json), refused};
}

}  // namespace torpor::daemon

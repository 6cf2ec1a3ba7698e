#include "daemon/command/terminal.h"

#include <fmt/format.h>
#include <langinfo.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>
#include <system_error>

#include "daemon/history/open_history.h"
#include "daemon/report/printable.h"
#include "daemon/service/storeroom.h"

namespace torpor::daemon {

Instant wall_now() { return std::chrono::floor<Duration>(std::chrono::system_clock::now()); }

TextStyle terminal_style() {
  TextStyle style;
  // main() has set the locale's character set; nothing else of the locale is used.
  style.utf8 = std::string_view(::nl_langinfo(CODESET)) == "UTF-8";
  const char* terminal = std::getenv("TERM");
  const char* no_colour = std::getenv("NO_COLOR");  // no-color.org: set and not empty
  style.colour = ::isatty(STDOUT_FILENO) == 1 && terminal != nullptr &&
                 std::string_view(terminal) != "dumb" &&
                 (no_colour == nullptr || *no_colour == '\0');
  return style;
}

bool shows_progress() { return ::isatty(STDERR_FILENO) == 1; }

tl::expected<Loaded, Failure> load_for_command(const std::filesystem::path& config, Purpose purpose,
                                               const std::filesystem::path& rules) {
  std::error_code unknown;
  if (!std::filesystem::exists(config, unknown) && !unknown) {
    return tl::unexpected(
        Failure{ExitCode::usage,
                fmt::format("there is no configuration at {}; say where it is with --config FILE",
                            config.string())});
  }
  auto loaded = load_settings(config, purpose, rules);
  if (loaded) {
    const auto trouble = trouble_at(history_place(storeroom_settings(*loaded)));
    if (trouble && trouble->away && purpose == Purpose::history) {
      return tl::unexpected(Failure{ExitCode::failed, trouble->text});
    }
    if (trouble) std::fprintf(stderr, "torpor: %s\n", printable(trouble->text).c_str());
    return std::move(*loaded);
  }
  std::string text;
  for (const config::Fault& fault : loaded.error()) text += config::to_text(fault) + '\n';
  text += fmt::format("{} fault{} in the configuration", loaded.error().size(),
                      loaded.error().size() == 1 ? "" : "s");
  return tl::unexpected(Failure{ExitCode::usage, std::move(text)});
}

}  // namespace torpor::daemon

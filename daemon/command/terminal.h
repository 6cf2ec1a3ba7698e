// What the commands share of their surroundings: the terminal, the clock, the configuration's
// faults.
#pragma once

#include <filesystem>

#include "daemon/command/failure.h"
#include "daemon/report/text.h"
#include "daemon/service/load_settings.h"

namespace torpor::daemon {

[[nodiscard]] Instant wall_now();

// Colour only where standard output is a terminal that wants it (NO_COLOR, TERM=dumb); blocks where
// the locale is UTF-8.
[[nodiscard]] TextStyle terminal_style();
// Progress is shown where standard error is a terminal.
[[nodiscard]] bool shows_progress();

// load_settings() with its faults as one usage failure, a caret under each. Says on standard error
// what is wrong with the history; who wants to read one that is away fails here.
[[nodiscard]] tl::expected<Loaded, Failure> load_for_command(
    const std::filesystem::path& config, Purpose purpose, const std::filesystem::path& rules = {});

}  // namespace torpor::daemon

// The reading commands: jars, jar ID, choose, label, places, sensors, alerts. They open the history
// read-only and work with and without the service running.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "daemon/command/failure.h"

namespace torpor::daemon {

enum class Form { text, json, csv, html };
enum class Shown { jars, places, sensors, open_alerts, all_alerts };

// What to print, whole. Form::html is written to a file, and what was written is said.
[[nodiscard]] tl::expected<std::string, Failure> show(Shown what, Form form,
                                                      const std::filesystem::path& config);

struct JarQuestion {
  std::string jar;
  std::string from, to, every;  // as typed; empty: the default
  Form form = Form::text;
  std::string file = {};  // of Form::html: where the page goes; replaced if it is there
};
[[nodiscard]] tl::expected<std::string, Failure> show_jar(const JarQuestion& question,
                                                          const std::filesystem::path& config);

struct ChoiceQuestion {
  std::string stage, need;  // as typed; empty: any
  bool json = false;
};
[[nodiscard]] tl::expected<std::string, Failure> show_choice(const ChoiceQuestion& question,
                                                             const std::filesystem::path& config);

struct LabelOrder {
  std::vector<std::string> jars;
  std::string file;  // an SVG; replaced if it is there
};
// Writes the labels and says so, with a warning where a phone will not reach the pages they name.
[[nodiscard]] tl::expected<std::string, Failure> write_labels(const LabelOrder& order,
                                                              const std::filesystem::path& config);

}  // namespace torpor::daemon

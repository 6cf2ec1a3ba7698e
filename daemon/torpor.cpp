// torpor: the command. Reads its arguments, does one thing, prints it, and ends with a code that
// scripts can rely on (torpor_failure.h). What each command does stands in the torpor_*.cpp beside
// this file.
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <clocale>
#include <cstdio>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "config/fault.h"
#include "daemon/command/air.h"
#include "daemon/command/backup.h"
#include "daemon/command/export.h"
#include "daemon/command/failure.h"
#include "daemon/command/import.h"
#include "daemon/command/import_jars.h"
#include "daemon/command/listen.h"
#include "daemon/command/rehearse.h"
#include "daemon/command/restore.h"
#include "daemon/command/show.h"
#include "daemon/command/sugar.h"
#include "daemon/command/tell.h"
#include "daemon/report/json.h"
#include "daemon/report/printable.h"
#include "daemon/report/text.h"
#include "daemon/service/load_settings.h"
#include "daemon/version.h"

namespace {

using namespace torpor::daemon;

constexpr const char* kExamples = R"(Examples:
  torpor jars                                   every jar at a glance
  torpor jar B-07 --from 2026-03-01             one jar's history on one screen
  torpor jar B-07 --csv --every 1h > b07.csv    its air, hour by hour
  torpor jar B-07 --html b07.html               a page to look at before it is used
  torpor choose --stage IMO-2 --need 500g       which jar to use, and why
  torpor label B-07 B-08 --svg labels.svg       a sheet of labels to print
  torpor tell 'move B-07 to cellar/shelf-1'     tells the service, prints its answer
  torpor listen 'sensors/#'                     what arrives, and the entry that would read it
  torpor import readings logger.csv --sensor s1 a logger's readings into the history
  torpor import jars notebook.csv               a notebook of jars into the ledger
  torpor export --sensor s1 > s1.csv            its readings, for another program
  torpor rehearse --rules new.yaml              what these rules would have said
  torpor backup /mnt/stick/cellar.sqlite3       a copy while the service runs
  torpor restore                                the history from its newest nightly copy
  torpor air 25C 60%                            dew point and more
  torpor sugar --rice 1200g --raw 560g          how much sugar puts this rice to sleep
Exit codes: 0 done, 1 failed, 2 usage or configuration, 65 sentence or data refused,
69 service not reached.)";

// The arguments of all commands, as typed.
struct Arguments {
  std::string config = kDefaultConfiguration;
  bool json = false;
  bool csv = false;
  bool all = false;
  JarQuestion jar;
  ChoiceQuestion choice;
  LabelOrder label;
  AirQuestion air;
  SugarQuestion sugar;
  std::vector<std::string> words;  // of the sentence
  std::string by;
  ListenOrder listen;
  ImportOrder import;
  ImportJarsOrder import_jars;
  ExportOrder export_order;
  RehearseOrder rehearse;
  bool senml = false;
  std::string backup;
  RestoreOrder restore;
};

using Command = std::function<ExitCode()>;

ExitCode report(const Failure& failure) {
  if (!failure.text.empty()) std::fprintf(stderr, "torpor: %s\n", failure.text.c_str());
  return failure.code;
}

// A full disk or a closed pipe must not look like success.
ExitCode print(const std::string& text) {
  const bool written = std::fwrite(text.data(), 1, text.size(), stdout) == text.size();
  if (written && std::fflush(stdout) == 0) return ExitCode::done;
  return report({ExitCode::failed, "the output could not be written in full"});
}

ExitCode print(const tl::expected<std::string, Failure>& text) {
  return text ? print(*text) : report(text.error());
}

Form form_of(const Arguments& arguments) {
  if (!arguments.jar.file.empty()) return Form::html;
  if (arguments.csv) return Form::csv;
  return arguments.json ? Form::json : Form::text;
}

ExitCode run_air(const Arguments& arguments) {
  const auto view = answer_air(arguments.air);
  if (!view) return report(view.error());
  return print(arguments.json ? air_json(*view) + '\n' : air_text(*view));
}

ExitCode run_tell(const Arguments& arguments) {
  const auto answer = tell_sentence(
      {fmt::format("{}", fmt::join(arguments.words, " ")), arguments.by, arguments.json},
      arguments.config);
  if (!answer) return report(answer.error());
  const ExitCode printed = print(answer->shown);
  return printed == ExitCode::done && answer->refused ? ExitCode::refused : printed;
}

ExitCode run_import(const Arguments& arguments) {
  ImportOrder order = arguments.import;
  order.json = arguments.json;
  const auto result = import_readings(order, arguments.config);
  if (!result) return report(result.error());
  const ExitCode printed = print(result->shown);
  return printed == ExitCode::done && result->refused_rows > 0 ? ExitCode::refused : printed;
}

ExitCode run_import_jars(const Arguments& arguments) {
  ImportJarsOrder order = arguments.import_jars;
  order.by = arguments.by;
  order.json = arguments.json;
  const auto result = import_jars(order, arguments.config);
  if (!result) return report(result.error());
  const ExitCode printed = print(result->shown);
  return printed == ExitCode::done && result->refused_rows > 0 ? ExitCode::refused : printed;
}

CLI::App* add_reading_command(CLI::App& app, Arguments& arguments, Command& chosen,
                              const std::string& name, const std::string& about, Shown what) {
  CLI::App* command = app.add_subcommand(name, about);
  command->add_flag("--json", arguments.json, "As JSON");
  command->callback([&arguments, &chosen, what] {
    chosen = [&arguments, what] {
      const bool all = what == Shown::open_alerts && arguments.all;
      return print(show(all ? Shown::all_alerts : what, form_of(arguments), arguments.config));
    };
  });
  return command;
}

void add_jar(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command = app.add_subcommand("jar", "One jar: where it stood, the air there, alerts");
  command->add_option("ID", arguments.jar.jar, "The jar, for example B-07 or b7")->required();
  command->add_option("--from", arguments.jar.from,
                      "From this local time on, for example 2026-03-01 (default: when closed)");
  command->add_option("--to", arguments.jar.to, "Up to this local time (default: now)");
  command->add_option("--every", arguments.jar.every,
                      "One row of exposure for each such interval, for example 15min or 1h");
  CLI::Option* json = command->add_flag("--json", arguments.json, "All of it as JSON");
  CLI::Option* csv =
      command->add_flag("--csv", arguments.csv, "Only the exposure, as CSV")->excludes(json);
  command
      ->add_option("--html", arguments.jar.file, "As one page for phone, desk or paper, to a file")
      ->excludes(json)
      ->excludes(csv);
  command->callback([&] {
    chosen = [&] {
      arguments.jar.form = form_of(arguments);
      return print(show_jar(arguments.jar, arguments.config));
    };
  });
}

void add_choose(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command =
      app.add_subcommand("choose", "Which jar to use: all of them ranked, with reasons");
  command->add_option("--stage", arguments.choice.stage, "Only jars of this stage: IMO-2");
  command->add_option("--need", arguments.choice.need, "How much is needed: 500g");
  command->add_flag("--json", arguments.choice.json, "As JSON");
  command->callback(
      [&] { chosen = [&] { return print(show_choice(arguments.choice, arguments.config)); }; });
}

void add_label(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command =
      app.add_subcommand("label", "Labels for jars with a code for a phone, on a sheet of A4");
  command->add_option("ID", arguments.label.jars, "The jars, for example B-07 B-08")->required();
  command->add_option("--svg", arguments.label.file, "The file to write")->required();
  command->callback(
      [&] { chosen = [&] { return print(write_labels(arguments.label, arguments.config)); }; });
}

void add_tell(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command =
      app.add_subcommand("tell", "Tells the service one sentence and prints its answer");
  command
      ->add_option("SENTENCE", arguments.words, "The sentence, in quotes: torpor tell 'ask B-07'")
      ->required();
  command->add_option("--by", arguments.by, "Who says it (default: the login name)");
  command->add_flag("--json", arguments.json, "The answer as JSON");
  command->callback([&] { chosen = [&] { return run_tell(arguments); }; });
}

void add_listen(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command = app.add_subcommand(
      "listen", "What arrives on a topic, and the configuration entry that would read it");
  ListenOrder& order = arguments.listen;
  command->add_option("TOPIC", order.topic, "The topic; + is any one level, # all below")
      ->required();
  command->add_option("--for", order.for_time, "How long, for example 10min (default: 30s)");
  command->add_option("--count", order.count, "Ends after so many messages");
  command->callback([&] {
    chosen = [&] {
      const auto done = listen(arguments.listen, arguments.config, stdout);
      return done ? ExitCode::done : report(done.error());
    };
  });
}

void add_import(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* import = app.add_subcommand("import", "Brings a file into the history");
  import->require_subcommand(1);
  CLI::App* readings =
      import->add_subcommand("readings", "A logger's readings, from a CSV file with a header");
  readings->add_option("FILE", arguments.import.file, "The CSV file")->required();
  readings->add_option("--sensor", arguments.import.sensor, "The configured sensor they are of")
      ->required();
  readings->add_option("--columns", arguments.import.columns,
                       "Which column is what, where the header does not say it: "
                       "time=date,temperature=T1:°C,humidity=RH_1:%");
  readings->add_option("--zone", arguments.import.zone,
                       "Zone of times without an offset, for example Europe/Vienna (default: UTC)");
  readings->add_flag("--json", arguments.json, "The counts as JSON");
  readings->callback([&] { chosen = [&] { return run_import(arguments); }; });
  CLI::App* jars =
      import->add_subcommand("jars", "A notebook of jars, from a CSV file with a header");
  jars->add_option("FILE", arguments.import_jars.file,
                   "The CSV file: id,place,stage,rice_g,raw_g,sugar_g,closed,...")
      ->required();
  jars->add_option("--by", arguments.by, "Who says it (default: the login name)");
  jars->add_flag("--json", arguments.json, "What was recorded, or every fault, as JSON");
  jars->callback([&] { chosen = [&] { return run_import_jars(arguments); }; });
}

void add_export(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command =
      app.add_subcommand("export", "Readings as they were sent, on standard output");
  ExportOrder& order = arguments.export_order;
  command->add_option("--sensor", order.sensors, "Of this sensor (with --senml: of these)");
  command->add_option("--from", order.from, "From this local time on (default: from the first)");
  command->add_option("--to", order.to, "Before this local time (default: to the last)");
  command->add_option(
      "--every", order.every,
      "Of each such stretch only the first, lowest, highest and last trusted reading");
  CLI::Option* csv = command->add_flag("--csv", arguments.csv,
                                       "As CSV that import readings reads again (default)");
  command->add_flag("--senml", arguments.senml, "As SenML, RFC 8428")->excludes(csv);
  command->callback([&] {
    chosen = [&] {
      arguments.export_order.form = arguments.senml ? ExportForm::senml : ExportForm::csv;
      const auto done = export_readings(arguments.export_order, arguments.config, stdout);
      return done ? ExitCode::done : report(done.error());
    };
  });
}

void add_rehearse(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command = app.add_subcommand(
      "rehearse", "A rule book over recorded history: which alerts, when, how many a day");
  RehearseOrder& order = arguments.rehearse;
  command->add_option("--rules", order.rules,
                      "This rule book, or built-in (default: those of the configuration)");
  command->add_option("--from", order.from, "From this local time on (default: from the first)");
  command->add_option("--to", order.to, "Before this local time (default: to the last)");
  command->add_flag("--json", order.json, "As JSON");
  command->callback([&] {
    chosen = [&] { return print(rehearse_rules(arguments.rehearse, arguments.config)); };
  });
}

void add_backup(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command =
      app.add_subcommand("backup", "A consistent copy of the history while the service runs");
  command->add_option("FILE", arguments.backup, "The copy; it must not exist yet")->required();
  command->callback(
      [&] { chosen = [&] { return print(back_up(arguments.backup, arguments.config)); }; });
}

void add_restore(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command = app.add_subcommand(
      "restore", "The history from a nightly copy or a backup, while the service is stopped");
  command->add_option("FILE", arguments.restore.file,
                      "The copy or backup (default: the newest nightly copy)");
  command->callback([&] {
    chosen = [&] { return print(restore_history(arguments.restore, arguments.config)); };
  });
}

void add_air(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command =
      app.add_subcommand("air", "Dew point, vapour pressure and humidity of air; no configuration");
  command->add_option("TEMPERATURE", arguments.air.temperature, "25C, 77F or 298.15K")->required();
  command->add_option("HUMIDITY", arguments.air.humidity, "60%")->required();
  command->add_option("--pressure", arguments.air.pressure, "Air pressure in Pa (default: 101325)");
  command->add_flag("--json", arguments.json, "As JSON");
  command->callback([&] { chosen = [&] { return run_air(arguments); }; });
}

ExitCode run_sugar(const Arguments& arguments) {
  const auto view = answer_sugar(arguments.sugar);
  if (!view) return report(view.error());
  return print(arguments.json ? sugar_json(*view) + '\n' : sugar_text(*view));
}

void add_sugar(CLI::App& app, Arguments& arguments, Command& chosen) {
  CLI::App* command = app.add_subcommand(
      "sugar", "How much sugar puts a colonised rice to sleep; no configuration");
  SugarQuestion& asked = arguments.sugar;
  command->add_option("--rice", asked.rice, "The colonised rice as it will be mixed: 1200g")
      ->required();
  command->add_option("--raw", asked.raw, "The dry rice that it was cooked from: 560g");
  command->add_option("--cooked", asked.cooked, "dry, firm or soft, where --raw is not known");
  command->add_option("--sugar", asked.sugar, "Asks what this much sugar gives: 800g");
  command->add_option("--kind", asked.kind, "white, brown or raw sugar (default: brown)");
  command->add_option("--temperature", asked.temperature, "Of the store room (default: 20C)");
  command->add_flag("--json", arguments.json, "As JSON");
  command->callback([&] { chosen = [&] { return run_sugar(arguments); }; });
}

void add_commands(CLI::App& app, Arguments& arguments, Command& chosen) {
  add_reading_command(app, arguments, chosen, "jars", "Every jar: state, place and air",
                      Shown::jars);
  add_jar(app, arguments, chosen);
  add_choose(app, arguments, chosen);
  add_label(app, arguments, chosen);
  add_reading_command(app, arguments, chosen, "places", "The air at every place", Shown::places);
  add_reading_command(app, arguments, chosen, "sensors", "Every sensor and when it last spoke",
                      Shown::sensors);
  add_reading_command(app, arguments, chosen, "alerts", "The alerts that stand", Shown::open_alerts)
      ->add_flag("--all", arguments.all, "Ended ones, too");
  add_tell(app, arguments, chosen);
  add_listen(app, arguments, chosen);
  add_import(app, arguments, chosen);
  add_export(app, arguments, chosen);
  add_rehearse(app, arguments, chosen);
  add_backup(app, arguments, chosen);
  add_restore(app, arguments, chosen);
  add_air(app, arguments, chosen);
  add_sugar(app, arguments, chosen);
}

// The first word that is neither an option nor the value of --config: the command that was meant.
std::string first_word(int argc, char** argv) {
  for (int i = 1; i < argc; ++i) {
    const std::string_view argument = argv[i];
    if (argument == "--config") {
      ++i;
    } else if (!argument.starts_with('-')) {
      return std::string(argument);
    }
  }
  return "";
}

// An unknown command, named with the nearest known one; empty: the mistake is another.
std::string unknown_command(const CLI::App& app, const std::string& word) {
  std::vector<std::string> known;
  for (const CLI::App* command : app.get_subcommands({})) known.push_back(command->get_name());
  if (word.empty() || std::find(known.begin(), known.end(), word) != known.end()) return "";
  const std::string nearest = torpor::config::nearest_word(word, known);
  return fmt::format("there is no command '{}'{} The commands are {}.", printable(word),
                     nearest.empty() ? "." : fmt::format("; did you mean {}?", nearest),
                     fmt::join(known, ", "));
}

ExitCode explain(const CLI::App& app, const CLI::ParseError& error, int argc, char** argv) {
  if (error.get_exit_code() == 0) {  // --help, --version
    return app.exit(error) == 0 ? ExitCode::done : ExitCode::usage;
  }
  if (argc < 2) {
    std::fprintf(stderr, "%s", app.help().c_str());
    return ExitCode::usage;
  }
  const std::string unknown = unknown_command(app, first_word(argc, argv));
  if (!unknown.empty()) return report({ExitCode::usage, unknown});
  return report(
      {ExitCode::usage, fmt::format("{}; torpor --help and torpor COMMAND --help say more",
                                    printable(error.what()))});
}

ExitCode run(int argc, char** argv) {
  CLI::App app{
      "torpor shows and tells what torpord, which watches jars of dormant culture, knows."};
  app.footer(kExamples);
  app.set_version_flag("--version", std::string("torpor ") + kVersion);
  app.require_subcommand(1);
  app.fallthrough();  // --config may also stand behind the command
  Arguments arguments;
  Command chosen;
  app.add_option("--config", arguments.config, "The configuration file")->capture_default_str();
  add_commands(app, arguments, chosen);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return explain(app, error, argc, argv);
  }
  return chosen();
}

}  // namespace

int main(int argc, char** argv) {
  // Only the character set: whether the terminal shows UTF-8. Numbers stay as they are everywhere.
  std::setlocale(LC_CTYPE, "");
  // The link keeps a log for a service; a command says what failed in its own words, once.
  spdlog::set_level(spdlog::level::off);
  try {
    return static_cast<int>(run(argc, argv));
  } catch (const std::exception& error) {
    // A broken invariant or no memory: nothing a command could mend.
    std::fprintf(stderr, "torpor: %s\n", error.what());
    return static_cast<int>(ExitCode::failed);
  }
}

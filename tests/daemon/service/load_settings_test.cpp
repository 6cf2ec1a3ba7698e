#include "daemon/service/load_settings.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "tests/daemon/temp_folder.h"

namespace torpor::daemon {
namespace {

constexpr const char* kGood = R"(storeroom: cellar
zone: Europe/Vienna
history: {file: data/history.sqlite3}
broker: {url: "mqtt://127.0.0.1:1883", user: torpord, secret: broker.secret}
places:
  cellar: {}
sensors:
  - {id: s1, place: cellar, topic: cellar/s1, payload: number, measures: {temperature: {unit: °C}}}
rulebooks: [built-in, rules.yaml]
)";

constexpr const char* kRules = R"(rules:
  hot:
    concerns: place
    when: temperature above 33 °C lasting 1 h
    urgency: today
    why: Warm.
)";

// A folder with a good configuration, to be spoiled.
struct Folder {
  tests::TempFolder folder;
  Folder() {
    folder.write("torpor.yaml", kGood);
    folder.write("rules.yaml", kRules);
    folder.write("broker.secret", "pass word \r\nsecond line\n");
  }
  [[nodiscard]] auto load(Purpose purpose = Purpose::broker) const {
    return load_settings(folder / "torpor.yaml", purpose);
  }
};

std::string replaced(std::string text, std::string_view what, std::string_view with) {
  const auto found = text.find(what);
  REQUIRE(found != std::string::npos);
  return text.replace(found, what.size(), with);
}

}  // namespace

TEST_CASE("a good configuration brings its rule books, zone and secret") {
  const Folder good;
  const auto loaded = good.load();
  REQUIRE(loaded.has_value());
  CHECK(loaded->settings.storeroom == "cellar");
  CHECK(loaded->zone.zone() == "Europe/Vienna");
  CHECK(loaded->history == good.folder.path() / "data/history.sqlite3");
  CHECK(loaded->folder == good.folder.path());
  CHECK(loaded->secret == "pass word ");  // the first line, blanks and all
  CHECK(std::any_of(loaded->book.begin(), loaded->book.end(),
                    [](const rules::Rule& rule) { return rule.name == "hot"; }));
  CHECK(loaded->book.size() > 1);  // the built-in ones, too
}

TEST_CASE("a configuration that is not there is one fault") {
  const tests::TempFolder folder;
  const auto loaded = load_settings(folder / "torpor.yaml");
  REQUIRE_FALSE(loaded.has_value());
  REQUIRE(loaded.error().size() == 1);
  CHECK(loaded.error()[0].at == config::Mark{});
  CHECK(loaded.error()[0].message == "the configuration cannot be read: No such file or directory");
  CHECK(load_settings(folder.path()).error()[0].message ==
        "the configuration cannot be read: it is a folder");
}

TEST_CASE("a missing rule book is a fault where the configuration names it") {
  const Folder spoiled;
  spoiled.folder.write("torpor.yaml", replaced(kGood, "rules.yaml", "rulse.yaml"));
  const auto loaded = spoiled.load();
  REQUIRE_FALSE(loaded.has_value());
  REQUIRE(loaded.error().size() == 1);
  const config::Fault& fault = loaded.error()[0];
  CHECK(fault.at == config::Mark{9, 23});
  CHECK(fault.source_line == "rulebooks: [built-in, rulse.yaml]");
  CHECK(fault.message.starts_with("the rule book " + (spoiled.folder / "rulse.yaml").string() +
                                  " cannot be read: No such file or directory; "));
}

TEST_CASE("a fault inside a rule book carries that book's name") {
  const Folder spoiled;
  spoiled.folder.write("rules.yaml", replaced(kRules, "temperature", "temperatur"));
  const auto loaded = spoiled.load();
  REQUIRE_FALSE(loaded.has_value());
  REQUIRE(loaded.error().size() == 1);
  CHECK(loaded.error()[0].file == (spoiled.folder / "rules.yaml").string());
  CHECK(loaded.error()[0].at.line == 4);
}

TEST_CASE("an unknown zone is a fault at its place") {
  const Folder spoiled;
  spoiled.folder.write("torpor.yaml", replaced(kGood, "Vienna", "Vienne"));
  const auto loaded = spoiled.load();
  REQUIRE_FALSE(loaded.has_value());
  REQUIRE(loaded.error().size() == 1);
  CHECK(loaded.error()[0].at.line == 2);
  CHECK(loaded.error()[0].message.find("Europe/Vienne") != std::string::npos);
}

TEST_CASE("the secret is opened only by those who need the broker") {
  const Folder spoiled;
  std::filesystem::remove(spoiled.folder / "broker.secret");
  CHECK(spoiled.load(Purpose::history).has_value());
  const auto loaded = spoiled.load(Purpose::broker);
  REQUIRE_FALSE(loaded.has_value());
  REQUIRE(loaded.error().size() == 1);
  CHECK(loaded.error()[0].message.starts_with("broker: the secret " +
                                              (spoiled.folder / "broker.secret").string() +
                                              " cannot be read: No such file or directory; "));
}

TEST_CASE("a credential that the service manager hands over stands for the secret's file") {
  const Folder good;
  const tests::TempFolder credentials;
  credentials.write("broker.secret", "handed over\n");
  ::setenv("CREDENTIALS_DIRECTORY", credentials.text().c_str(), 1);
  const auto loaded = good.load();
  ::unsetenv("CREDENTIALS_DIRECTORY");
  REQUIRE(loaded.has_value());
  CHECK(loaded->secret == "handed over");
  CHECK(good.load()->secret != "handed over");
}

TEST_CASE("a secret must hold one line of sensible length") {
  const Folder spoiled;
  spoiled.folder.write("broker.secret", "\npassword on the second line\n");
  CHECK(spoiled.load().error()[0].message.ends_with("that line is empty"));
  spoiled.folder.write("broker.secret", std::string(4096, 'x'));
  CHECK(spoiled.load().has_value());
  spoiled.folder.write("broker.secret", std::string(4097, 'x'));
  CHECK(spoiled.load().error()[0].message.ends_with("that line is longer than 4096 bytes"));
}

TEST_CASE("a secret that others may read works, and is warned of with what to do") {
  const Folder good;
  const auto file = good.folder / "broker.secret";
  const auto warned = [&](unsigned mode) {
    std::filesystem::permissions(file, static_cast<std::filesystem::perms>(mode));
    const auto loaded = good.load();
    REQUIRE(loaded.has_value());
    return loaded->warnings.empty() ? std::string() : loaded->warnings[0].message;
  };
  CHECK(warned(0600).empty());
  CHECK(warned(0400).empty());
  for (const auto& [mode, readers] : {std::pair(0640U, "its group (mode 640)"),
                                      std::pair(0604U, "everybody on this computer (mode 604)")}) {
    CHECK(warned(mode) == "broker: the secret " + file.string() + " can be read by " + readers +
                              ", who can then connect in torpor's place; say `chmod 600 " +
                              file.string() + "`");
  }
}

TEST_CASE("a token that is easy to guess or to read keeps the pages off, and only them") {
  const Folder good;
  good.folder.write("torpor.yaml",
                    std::string(kGood) + "web: {listen: \"0.0.0.0:8457\", token: web.token}\n");
  const auto file = good.folder / "web.token";
  struct Row {
    const char* text;
    unsigned mode;
    const char* fault;  // empty: none
  };
  const std::string path = file.string();
  const std::string guessed = "web: the token " + path + " is easy to guess: ";
  const std::string make =
      "; make one by chance, with `head -c 12 /dev/urandom | base64 > " + path + "`";
  const Row rows[] = {
      {"swift-otter-9134-lake\nsecond line\n", 0600, ""},
      {"aaaaaaaaaaaaaaaaaaaa\n", 0600, "it is one character again and again"},
      {"short-token-123\n", 0600, "it has 15 characters, fewer than 16"},
      {"", 0600, "it has 0 characters, fewer than 16"},
  };
  for (const Row& row : rows) {
    good.folder.write("web.token", row.text);
    std::filesystem::permissions(file, static_cast<std::filesystem::perms>(row.mode));
    const auto loaded = good.load();
    REQUIRE(loaded.has_value());
    if (std::string_view(row.fault).empty()) {
      CHECK(loaded->web_faults.empty());
      CHECK(loaded->web_token == "swift-otter-9134-lake");
      continue;
    }
    REQUIRE(loaded->web_faults.size() == 1);
    CHECK(loaded->web_faults[0].message == guessed + row.fault + make);
    CHECK(loaded->web_token.empty());
  }
  good.folder.write("web.token", "swift-otter-9134-lake\n");
  std::filesystem::permissions(file, static_cast<std::filesystem::perms>(0644));
  const auto loaded = good.load();
  REQUIRE(loaded.has_value());
  REQUIRE(loaded->web_faults.size() == 1);
  CHECK(loaded->web_faults[0].message ==
        "web: the token " + path +
            " can be read by everybody on this computer (mode 644); say `chmod "
            "600 " +
            path + "`, and `chown` it to the user torpord runs as");
  CHECK(loaded->web_token.empty());
  std::filesystem::remove(file);
  CHECK(good.load()->web_faults.size() == 1);
  CHECK(good.load(Purpose::history)->web_faults.empty());
}

TEST_CASE("all faults of configuration, rule books, zone and secret come at once") {
  const Folder spoiled;
  std::string text = replaced(kGood, "Vienna", "Vienne");
  text = replaced(text, "storeroom", "storerom");
  text = replaced(text, "[built-in, ", "[built-in, missing.yaml, ");
  spoiled.folder.write("torpor.yaml", text);
  spoiled.folder.write("rules.yaml", replaced(kRules, "33 °C", "33 %"));
  std::filesystem::remove(spoiled.folder / "broker.secret");
  const auto loaded = spoiled.load();
  REQUIRE_FALSE(loaded.has_value());
  const auto mentions = [&](std::string_view word) {
    return std::any_of(loaded.error().begin(), loaded.error().end(), [&](const auto& fault) {
      return config::to_text(fault).find(word) != std::string::npos;
    });
  };
  for (const char* word :
       {"storerom", "Vienne", "missing.yaml", "rules.yaml:4:", "broker.secret"}) {
    CAPTURE(word);
    CHECK(mentions(word));
  }
}

}  // namespace torpor::daemon

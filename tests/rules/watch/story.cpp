#include "tests/rules/watch/story.h"

#include <cstdlib>
#include <sstream>

#include <doctest/doctest.h>

namespace torpor::rules {
namespace {

std::vector<std::string> split(std::string_view text, char by) {
  std::vector<std::string> parts;
  std::stringstream stream{std::string(text)};
  for (std::string part; std::getline(stream, part, by);) {
    if (part.find_first_not_of(' ') != std::string::npos) parts.push_back(part);
  }
  return parts;
}

// Takes "@90" off the end of a word.
Instant measured(std::string& word, Instant otherwise) {
  const auto at = word.find('@');
  if (at == std::string::npos) return otherwise;
  const Instant t = minute(std::atof(word.c_str() + at + 1));
  word.resize(at);
  return t;
}

Input input_of(std::string word, Instant now) {
  if (word == "seen") return SeenInput{std::nullopt, "somebody"};
  if (word == "lost" || word == "back") return LinkInput{word == "back"};
  if (word == "tick") return TickInput{};
  const Instant at = measured(word, now);
  if (word.front() == '~') return JarSpoiledInput{word.substr(1), std::nullopt};
  if (word.front() == '!') {
    const std::string jar = word.substr(1);
    return JarSpoiledInput{jar, Spoilage{at, culture::Sign::green_growth, jar, 7}};
  }
  if (word.front() == '-') return JarRetiredInput{word.substr(1), at};
  const auto equals = word.find('=');
  REQUIRE_MESSAGE(word.front() == '+', word);
  return JarPlacedInput{word.substr(1, equals - 1), word.substr(equals + 1), at};
}

Reading reading_of(std::string word, Instant now) {
  const Instant at = measured(word, now);
  const auto colon = word.find(':');
  const std::string sensor = word.substr(0, colon);
  if (word[colon + 1] == 'x') {
    Reading reading = a_reading(sensor, Quantity::temperature, 999.0, at);
    reading.marks = kOutOfRange;
    return reading;
  }
  const Quantity quantity = word[colon + 1] == 't' ? Quantity::temperature : Quantity::humidity;
  return a_reading(sensor, quantity, std::atof(word.c_str() + colon + 2), at);
}

void add(Effects& all, Effects more) {
  all.changes.insert(all.changes.end(), more.changes.begin(), more.changes.end());
  all.notices.insert(all.notices.end(), more.notices.begin(), more.notices.end());
  all.touched = std::move(more.touched);
}

}  // namespace

Instant minute(double n) {
  return kMidnight + Duration(static_cast<std::int64_t>(n * 60000.0 + 0.5));
}

Rule a_rule(std::string name, std::string concerns, std::string when, std::string until,
            std::string urgency) {
  auto rule = check_rule({std::move(name),
                          std::move(concerns),
                          std::move(when),
                          std::move(until),
                          std::move(urgency),
                          "It matters.",
                          {"shade"}});
  if (!rule) FAIL(rule.error().front().message);
  return *rule;
}

Layout a_cellar() {
  const auto hold = std::chrono::minutes(30);
  const auto sensor = [&](std::string id, std::string place) {
    return SensorSpec{std::move(id),
                      std::move(place),
                      "",
                      Senses::air,
                      {Quantity::temperature, Quantity::humidity},
                      std::chrono::minutes(10),
                      hold};
  };
  return {
      {{"cellar", false}, {"cellar/shelf-1", false}, {"cellar/shelf-2", false}, {"outside", true}},
      {sensor("s", "cellar"), sensor("s1", "cellar/shelf-1"), sensor("s2", "cellar/shelf-2"),
       sensor("o", "outside")}};
}

WatchSettings settings_of(RuleBook book, Layout layout) {
  WatchSettings settings;
  settings.layout = std::move(layout);
  settings.book = std::move(book);
  return settings;
}

Reading a_reading(std::string sensor, Quantity quantity, double value, Instant at) {
  const Unit unit = quantity == Quantity::temperature ? Unit::celsius : Unit::percent;
  return {std::move(sensor), quantity, value, unit, at, at, kUnmarked};
}

Effects tell(Watch& watch, std::string_view story) {
  Effects all;
  for (const std::string& step : split(story, ';')) {
    const std::vector<std::string> words = split(step, ' ');
    const Instant now = minute(std::atof(words.front().c_str()));
    ReadingsInput readings;
    for (std::size_t i = 1; i < words.size(); ++i) {
      if (words[i].find(':') != std::string::npos) {
        readings.readings.push_back(reading_of(words[i], now));
      } else {
        add(all, watch.step(now, input_of(words[i], now)));
      }
    }
    if (!readings.readings.empty()) add(all, watch.step(now, readings));
  }
  return all;
}

std::string minute_text(Instant t) {
  const auto since = t - kMidnight;
  const auto minutes = std::chrono::floor<std::chrono::minutes>(since);
  std::string text = std::to_string(minutes.count());
  if (since != minutes) text += "+" + std::to_string((since - minutes).count()) + "ms";
  return text;
}

std::string changes_text(const Effects& effects) {
  std::string text;
  for (const AlertChange& change : effects.changes) {
    if (!text.empty()) text += "; ";
    text += minute_text(change.at) + " " + std::string(alert_change_name(change.kind)) + " " +
            change.alert.rule;
    if (!change.alert.subject.id.empty()) text += " " + change.alert.subject.id;
  }
  return text;
}

}  // namespace torpor::rules

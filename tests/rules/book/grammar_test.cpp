// The rule language: text -> canonical text or the exact faults, what a rule eases by, and that a
// printed condition reads back as itself.
#include <doctest/doctest.h>

#include <random>

#include "rules/book/condition_tree.h"
#include "rules/book/ease.h"
#include "rules/book/near_word.h"
#include "rules/book/rule.h"
#include "rules/book/units.h"

namespace torpor::rules {
namespace {

RuleText rule_text(std::string when, std::string until = "", std::string concerns = "place") {
  return {"r",     std::move(concerns), std::move(when), std::move(until),
          "today", "It matters.",       {"move"}};
}

// "0+10 unknown quantity ...", one line each; `until:` before those of until.
std::string faults_text(const RuleText& text) {
  const auto rule = check_rule(text);
  if (rule) return "none";
  std::string lines;
  for (const RuleFault& fault : rule.error()) {
    if (!lines.empty()) lines += "\n";
    if (fault.field == RuleField::until) lines += "until:";
    lines +=
        std::to_string(fault.offset) + "+" + std::to_string(fault.length) + " " + fault.message;
  }
  return lines;
}

struct Said {
  const char* text;
  const char* canonical;
};

TEST_CASE("a condition is understood as its canonical words say") {
  const Said rows[] = {
      {"temperature above 27 °C lasting 2 h", "temperature above 27 °C lasting 2 h"},
      {"Temperature ABOVE 27C", "temperature above 27 °C"},
      {"temperature above 27.50degC", "temperature above 27.5 °C"},
      {"temperature\tabove\n27\u00a0°C", "temperature above 27 °C"},
      {"temperature below \u22125 °C", "temperature below -5 °C"},
      {"temperature above +5 °C", "temperature above 5 °C"},
      {"temperature above .5 °C", "temperature above 0.5 °C"},
      {"temperature above 80.6 °F", "temperature above 80.6 °F"},
      {"temperature at least 300 K", "temperature at least 300 K"},
      {"humidity at most 60 percent", "humidity at most 60 %"},
      {"absolute humidity above 12 g/m3", "absolute humidity above 12 g/m³"},
      {"vapour pressure above 2 kPa", "vapour pressure above 2 kPa"},
      {"humidity between 40 and 60 %", "humidity between 40 % and 60 %"},
      {"humidity between 40 % and 60 % and temperature above 20 °C",
       "humidity between 40 % and 60 % and temperature above 20 °C"},
      {"temperature at outside above 27 °C", "temperature at outside above 27 °C"},
      {"temperature at cellar/shelf-1 at least 27 °C",
       "temperature at cellar/shelf-1 at least 27 °C"},
      {"temperature minus temperature at outside above 3 K",
       "temperature minus temperature at outside above 3 K"},
      {"humidity at cellar minus humidity at outside below -5 %",
       "humidity at cellar minus humidity at outside below -5 %"},
      {"temperature minus dew point at most 2 K", "temperature minus dew point at most 2 K"},
      {"temperature above 27 °C lasting 120 min", "temperature above 27 °C lasting 2 h"},
      {"temperature above 27 °C lasting 1.5 h", "temperature above 27 °C lasting 90 min"},
      {"temperature above 27 °C lasting 48 hours", "temperature above 27 °C lasting 2 d"},
      {"temperature above 27 °C lasting 90 s", "temperature above 27 °C lasting 90 s"},
      // not before and before or; lasting binds to what is directly before it.
      {"temperature above 27 °C or humidity above 80 % and dew point above 18 °C lasting 90 min",
       "temperature above 27 °C or (humidity above 80 % and dew point above 18 °C lasting 90 min)"},
      {"not temperature above 27 °C and humidity above 80 %",
       "not temperature above 27 °C and humidity above 80 %"},
      {"not temperature above 27 °C lasting 2 h", "not (temperature above 27 °C lasting 2 h)"},
      {"(not temperature above 27 °C) lasting 2 h", "(not temperature above 27 °C) lasting 2 h"},
      {"not not temperature above 27 °C", "not not temperature above 27 °C"},
      {"not (temperature above 27 °C or humidity above 80 %) lasting 1 d",
       "not ((temperature above 27 °C or humidity above 80 %) lasting 1 d)"},
      {"((temperature above 27 °C))", "temperature above 27 °C"},
      {"(temperature above 27 °C and humidity above 80 %) and dew point above 18 °C",
       "temperature above 27 °C and humidity above 80 % and dew point above 18 °C"},
      {"((temperature above 27 °C lasting 1 h) and humidity above 80 %) lasting 2 h",
       "(temperature above 27 °C lasting 1 h and humidity above 80 %) lasting 2 h"},
  };
  for (const Said& row : rows) {
    CAPTURE(std::string(row.text));
    const auto rule = check_rule(rule_text(row.text));
    REQUIRE_MESSAGE(rule.has_value(), faults_text(rule_text(row.text)));
    CHECK(to_text(rule->when) == row.canonical);
  }
}

TEST_CASE("every fault says where it is, what was found and what was expected") {
  const std::string place_has =
      "has temperature, humidity, dew point, absolute humidity, vapour pressure";
  const std::pair<const char*, std::string> rows[] = {
      {"", "0+0 'when' is missing; write a condition such as temperature above 27 °C lasting 2 h"},
      {"temprature above 27 °C",
       "0+10 unknown quantity 'temprature'; did you mean 'temperature'? A place " + place_has},
      {"warmth above 27 °C", "0+6 unknown quantity 'warmth'; a place " + place_has},
      {"temprature abov 27 °C",
       "11+4 found 'abov', expected above, below, at least, at most or between; did you mean "
       "'above'?"},
      {"time since reading above 2 h",
       "0+18 'time since reading' belongs to a sensor, and this rule concerns a place, which " +
           place_has},
      {"temperature over 27 °C",
       "12+4 found 'over', expected above, below, at least, at most or between; did you mean "
       "'above'?"},
      {"temperature > 27 °C",
       "12+1 found '>', expected above, below, at least, at most or between; did you mean "
       "'above'?"},
      {"temperature", "11+0 found the end, expected above, below, at least, at most or between"},
      {"above 27 °C", "0+5 found 'above', expected a quantity such as temperature"},
      {"temperature above", "17+0 found the end, expected an amount such as 27 °C"},
      {"temperature above hot", "18+3 found 'hot', expected an amount such as 27 °C"},
      {"temperature above 27,5 °C",
       "18+4 '27,5' is not a number here; write digits with a point, such as 27.5"},
      {"temperature above 1e3 °C",
       "18+3 '1e3' is not a number here; write digits with a point, such as 27.5"},
      {"temperature above 2.7.1 °C",
       "18+5 '2.7.1' is not a number here; write digits with a point, such as 27.5"},
      {"temperature above 27", "18+2 27 has no unit; 'temperature' is written in °C, °F or K"},
      {"temperature above 27 c",
       "21+1 unknown unit 'c'; 'temperature' is written in °C, °F or K; did you mean °C?"},
      {"temperature above 27 %", "21+1 '%' does not measure 'temperature'; write °C, °F or K"},
      {"humidity above 100 K", "19+1 'K' does not measure 'humidity'; write %"},
      {"humidity above 100 %",
       "0+20 'humidity above 100 %' can never be met: 'humidity' lies between 0 and 100 %"},
      {"humidity at least 0 %",
       "0+21 'humidity at least 0 %' is always met: 'humidity' lies between 0 and 100 %"},
      {"humidity above 120 %",
       "15+5 'humidity above 120 %' has an impossible limit: 'humidity' lies between 0 and 100 %"},
      {"temperature between 25 °C and 20 °C",
       "20+17 'between' takes the lower amount first, found 25 °C and 20 °C"},
      {"temperature between 20 °C or 25 °C",
       "27+2 found 'or', expected 'and' and the upper amount\n"
       "30+2 found '25', expected a quantity such as temperature"},
      {"temperature above 27 °C for 2 h",
       "25+3 found 'for', expected and, or, lasting or the end; did you mean 'lasting'?"},
      {"temperature above 27 °C lasting",
       "32+0 found the end, expected a duration after "
       "'lasting', such as 2 h"},
      {"temperature above 27 °C lasting 0 h",
       "33+3 'lasting' needs a duration of 1 s or more, found 0 h"},
      // Less than what counts as rounding would be no time at all.
      {"temperature above 27 °C lasting 0.0000001 s",
       "33+11 'lasting' needs a duration of 1 s or more, found 0.0000001 s"},
      {"temperature above 27 °C lasting 367 d",
       "33+5 367 d is too long; 'lasting' takes at most 366 d"},
      {"temperature above 27 °C lasting 1.5 s", "33+5 1.5 s is not a whole number of seconds"},
      {"temperature above 27 °C lasting 2",
       "33+1 2 has no unit; a duration is written in s, min, h or d"},
      {"temperature above 27 °C lasting 2 m",
       "35+1 'm' is no unit of time; write s, min, h or d; did you mean min?"},
      {"temperature above 27 °C lasting 2 h lasting 3 h",
       "37+7 a second 'lasting' here; group what comes before it in parentheses"},
      {"temperature above 27 °C lasting 2 h 30 min",
       "37+2 found '30', expected and, or, or the end"},
      {"temperature above 27 °C humidity above 80 %",
       "25+8 found 'humidity', expected and, or, lasting or the end"},
      {"temperature above 27 °C and and humidity above 80 %",
       "29+3 found 'and', expected a quantity such as temperature"},
      {"(temperature above 27 °C and humidity above 80 %",
       "0+1 '(' is never closed; add ')' where the group ends"},
      {"temperature above 27 °C)", "24+1 ')' closes nothing; take it out or open a '(' before it"},
      {"temperature at above 27 °C", "15+5 found 'above', expected a place after 'at'"},
      {"temperature minus temperature at outside above 3 °C",
       "49+3 °C is for a temperature, and 'temperature minus temperature at outside' is a "
       "difference "
       "of temperatures; write it in K"},
      {"temperature minus humidity above 3 K",
       "0+26 'temperature' and 'humidity' are not of one kind; only like quantities have a "
       "difference"},
      {"temperature minus temperature above 3 K",
       "0+29 'temperature minus temperature' is always 0; name another place with 'at'"},
      {"temperature minus above 3 K",
       "18+5 found 'above', expected a quantity such as temperature"},
      {"average of temperature over 24 h above 20 °C", "none"},
      {"average of temperature over 8 d above 20 °C",
       "28+3 8 d is too long; 'over' takes at most 7 d"},
      {"time with temperature above 27 °C within 32 d at least 10 h",
       "42+4 32 d is too long; 'within' takes at most 31 d"},
      {"highest of temperature over 0 h above 20 °C",
       "28+3 'over' needs a duration of 1 s or more, found 0 h"},
      {"time with temperature above 27 °C within 7 d above 8 d",
       "52+3 'time with temperature above 27 °C within 7 d above 8 d' has an impossible limit: "
       "'time with temperature above 27 °C within 7 d' lies between 0 and 604800 s"},
      {"rise of temperature over 1 h above 3 °C",
       "37+3 °C is for a temperature, and 'rise of temperature over 1 h' is a difference of "
       "temperatures; write it in K"},
      {"average of (temperature minus temperature at outside) over 1 h above 3 K",
       "0+62 'average of (temperature minus temperature at outside) over 1 h' looks at two places "
       "over a time; a value over a time is of one place"},
      {"average of temperature over 1 h minus average of temperature at outside over 1 h above 3 K",
       "0+80 a difference of two averages is not watched; compare one of them, or the average with "
       "the quantity itself"},
      {"average of (highest of temperature over 1 h) over 2 h above 20 °C",
       "12+31 a value over a time inside another; a value over a time is of quantities"},
      {"time with (temperature above 27 °C lasting 1 h) within 7 d at least 10 h",
       "44+3 'lasting' inside 'time with'; what is summed has no duration"},
      {"time with (temperature above 27 °C or) within 7 d at least 10 h",
       "38+1 found ')', expected a quantity such as temperature"},
      {"average temperature above 20 °C",
       "8+11 found 'temperature', expected 'of' after 'average': average of temperature over 24 h"},
      {"time with temperature above 27 °C at least 10 h",
       "35+2 found 'at', expected 'within' and a duration, such as within 24 h"},
      // All of them, not only the first.
      {"temperature above 270 °C and humidty above 90 % or vapour pressure above 2 %",
       "18+7 'temperature above 270 °C' has an impossible limit: 'temperature' lies between -40 "
       "and 90 °C\n"
       "30+7 unknown quantity 'humidty'; did you mean 'humidity'? A place " +
           place_has +
           "\n"
           "76+1 '%' does not measure 'vapour pressure'; write Pa, hPa or kPa"},
  };
  for (const auto& [text, expected] : rows) {
    CAPTURE(std::string(text));
    CHECK(faults_text(rule_text(text)) == expected);
  }
}

TEST_CASE("other fields are checked with it") {
  const auto rule = check_rule({"two words",
                                "shelf",
                                "temperature above 27",
                                "",
                                "tomorow",
                                " \n",
                                {"mov", "look", "look"}});
  REQUIRE(!rule);
  const auto& faults = rule.error();
  std::string text;
  for (const RuleFault& fault : faults) {
    text += std::to_string(static_cast<int>(fault.field)) + " " + std::to_string(fault.item) + " " +
            std::to_string(fault.offset) + " " + fault.message + "\n";
  }
  CHECK(text ==
        "0 0 3 the name 'two words' may hold letters, digits, '-' and '_' only\n"
        "1 0 0 found 'shelf', expected place, jar, sensor or service\n"
        "4 0 0 found 'tomorow', expected now, today or this-week\n"
        "5 0 0 'why' is missing; say in a sentence what the alert is for\n"
        "6 0 0 unknown remedy 'mov'; did you mean 'move'? known are add-sugar, move, vent, "
        "keep-room-shut, dry-air, ease-lid, renew-cover, shade, look, wake-test, use-first, "
        "check-sensor, check-board, change-battery, carry-out or renew-vessel\n"
        "6 2 0 remedy 'look' is there twice; leave one out\n");
}

TEST_CASE("every quantity of the table can be watched") {
  for (const RuleQuantityFacts& row : rule_quantities()) {
    CAPTURE(row.name);
    const auto amount = to_text(
        from_canonical((row.lowest + row.highest) / 2.0,
                       row.dimension == Dimension::temperature_difference ? RuleUnit::kelvin
                       : row.dimension == Dimension::number               ? RuleUnit::none
                       : row.dimension == Dimension::temperature          ? RuleUnit::celsius
                       : row.dimension == Dimension::percent              ? RuleUnit::percent
                       : row.dimension == Dimension::pressure             ? RuleUnit::pascal
                       : row.dimension == Dimension::vapour_density ? RuleUnit::gram_per_cubic_metre
                       : row.dimension == Dimension::mass           ? RuleUnit::gram
                                                                    : RuleUnit::second,
                       row.dimension));
    const auto rule = check_rule(rule_text(std::string(row.name) + " above " + amount, "",
                                           std::string(scope_name(row.scope))));
    CHECK(rule.has_value());
  }
}

TEST_CASE("limits of size and depth are refused just past them") {
  const auto nested = [](int depth) {
    return std::string(static_cast<std::size_t>(depth), '(') + "temperature above 27 °C" +
           std::string(static_cast<std::size_t>(depth), ')');
  };
  CHECK(faults_text(rule_text(nested(24))) == "none");
  CHECK(faults_text(rule_text(nested(25))) ==
        "24+1 nested more than 24 deep; write it with fewer parentheses, or as several rules");
  CHECK(faults_text(rule_text(nested(1000))) ==
        "24+1 nested more than 24 deep; write it with fewer parentheses, or as several rules");
  const auto repeated = [](int times) {
    std::string text = "temperature above 27 °C";
    for (int i = 1; i < times; ++i) text += " or humidity above 80 %";
    return text;
  };
  CHECK(faults_text(rule_text(repeated(48))) == "none");
  CHECK(faults_text(rule_text(repeated(49))) ==
        std::to_string(repeated(48).size() + 4) +
            "+8 more than 48 comparisons; split it into several rules");
  const std::string condition = "temperature above 27 °C";
  CHECK(faults_text(rule_text(condition + std::string(4000 - condition.size(), ' '))) == "none");
  CHECK(faults_text(rule_text(condition + std::string(4001 - condition.size(), ' '))) ==
        "0+0 a condition of 4001 bytes; at most 4000 are read: split the rule");
}

TEST_CASE("until must not hold while when does, or the alert would come and go") {
  struct Row {
    const char* when;
    const char* until;
    const char* expected;
  };
  const Row rows[] = {
      {"temperature above 27 °C", "temperature below 25.5 °C lasting 30 min", "none"},
      {"temperature above 27 °C", "temperature at most 27 °C", "none"},
      {"temperature above 27 °C", "temperature below 28 °C lasting 30 min",
       "until:0+24 'temperature below 28 °C' can hold while 'temperature above 27 °C' still raises "
       "the alert, which would come and go; put its limit on the other side of 27 °C"},
      {"temperature at least 27 °C", "temperature at most 27 °C",
       "until:0+26 'temperature at most 27 °C' can hold while 'temperature at least 27 °C' still "
       "raises the alert, which would come and go; put its limit on the other side of 27 °C"},
      {"temperature above 27 °C", "temperature below 82 °F",
       "until:0+24 'temperature below 82 °F' can hold while 'temperature above 27 °C' still raises "
       "the alert, which would come and go; put its limit on the other side of 27 °C"},
      {"temperature above 27 °C", "not temperature above 28 °C",
       "until:4+24 'temperature above 28 °C' can hold while 'temperature above 27 °C' still raises "
       "the alert, which would come and go; put its limit on the other side of 27 °C"},
      {"temperature above 27 °C and humidity above 80 %",
       "temperature below 26 °C or humidity below 85 %",
       "until:28+19 'humidity below 85 %' can hold while 'humidity above 80 %' still raises the "
       "alert, which would come and go; put its limit on the other side of 80 %"},
      // Both would have to hold, and one of them cannot.
      {"temperature above 27 °C and humidity above 80 %",
       "temperature below 28 °C and humidity below 75 %", "none"},
      {"temperature above 27 °C", "temperature at outside below 30 °C", "none"},
      {"humidity between 40 % and 60 %", "humidity below 38 % or humidity above 62 %", "none"},
  };
  for (const Row& row : rows) {
    CAPTURE(std::string(row.when));
    CAPTURE(std::string(row.until));
    CHECK(faults_text(rule_text(row.when, row.until)) == row.expected);
  }
}

TEST_CASE("a clause that is shown in a message is cut, however long its place is") {
  const std::string place = "cellar/" + std::string(900, 's');
  const std::string text = faults_text(rule_text("temperature at " + place + " above 27 °C",
                                                 "temperature at " + place + " below 28 °C"));
  CHECK(text.find("...' can hold while 'temperature at cellar/sss") != std::string::npos);
  CHECK(text.size() < 700);
}

TEST_CASE("without until a rule eases when it is false by a margin for ten minutes") {
  const Said rows[] = {
      {"temperature above 27 °C lasting 2 h", "temperature at most 26.5 °C lasting 10 min"},
      {"temperature above 80.6 °F", "temperature at most 79.7 °F lasting 10 min"},
      {"temperature at least 27 °C", "temperature below 26.5 °C lasting 10 min"},
      {"humidity below 40 %", "humidity at least 42 % lasting 10 min"},
      {"humidity at most 40 %", "humidity above 42 % lasting 10 min"},
      {"humidity between 40 % and 60 %",
       "(humidity below 38 % or humidity above 62 %) lasting 10 min"},
      {"not humidity between 40 % and 60 %", "humidity between 42 % and 58 % lasting 10 min"},
      {"not humidity between 40 % and 44 %", "humidity between 41 % and 43 % lasting 10 min"},
      {"temperature above 27 °C and humidity above 80 %",
       "(temperature at most 26.5 °C or humidity at most 78 %) lasting 10 min"},
      {"not (temperature above 27 °C or humidity above 80 %)",
       "(temperature above 27.5 °C or humidity above 82 %) lasting 10 min"},
      // No margin can leave what is possible.
      {"humidity above 1 %", "humidity at most 0.5 % lasting 10 min"},
      {"humidity below 99 %", "humidity at least 99.5 % lasting 10 min"},
  };
  for (const Said& row : rows) {
    CAPTURE(std::string(row.text));
    const auto rule = check_rule(rule_text(row.text));
    REQUIRE(rule.has_value());
    CHECK(to_text(ease_of(*rule)) == row.canonical);
  }
}

// Random conditions that a person could have written, in the form that check_rule gives them.
class Writer {
 public:
  explicit Writer(unsigned seed) : random_(seed) {}

  Condition condition(int depth) {
    const int kind = depth == 0 ? 0 : pick(0, 5);
    if (kind <= 1) return pick(0, 3) == 0 ? window_clause() : clause();
    if (kind == 2) return make_condition(Negation{condition(depth - 1)});
    if (kind == 3) {
      return make_condition(Lasting{condition(depth - 1),
                                    std::chrono::seconds(pick(1, 4) * (pick(0, 1) ? 1 : 1800))});
    }
    return kind == 4 ? group<AllOf>(depth) : group<AnyOf>(depth);
  }

 private:
  int pick(int from, int to) {
    return from + static_cast<int>(random_() % static_cast<unsigned>(to - from + 1));
  }

  template <class Group>
  Condition group(int depth) {
    Group made;
    for (int i = pick(2, 3); i > 0; --i) {
      Condition part = condition(depth - 1);
      if (const auto* same = std::get_if<Group>(&part->what)) {
        made.parts.insert(made.parts.end(), same->parts.begin(), same->parts.end());
      } else {
        made.parts.push_back(part);
      }
    }
    return make_condition(made);
  }

  Condition window_clause() {
    Window window;
    window.kind = static_cast<WindowKind>(pick(0, 4));
    window.length = std::chrono::minutes(30 * pick(2, 9));
    Clause clause;
    clause.comparison = static_cast<Comparison>(pick(0, 3));
    if (window.kind == WindowKind::time_with) {
      const char* const place = pick(0, 1) == 0 ? "" : "cellar/shelf-1";
      const Condition warm = warm_clause(place), warmer = warm_clause(place);
      window.with = pick(0, 2) == 0   ? make_condition(Negation{warm})
                    : pick(0, 1) == 0 ? make_condition(AnyOf{{warm, warmer}})
                                      : warm;
      clause.of = {window, std::nullopt, Dimension::duration};
      clause.limit = {static_cast<double>(pick(1, 59)), RuleUnit::minute};
    } else {
      const bool rises = window.kind == WindowKind::rise;
      Expression of{QuantityAt{RuleQuantity::temperature, ""}, std::nullopt,
                    Dimension::temperature};
      if (pick(0, 2) == 0) {
        of.minus = QuantityAt{RuleQuantity::dew_point, ""};
        of.dimension = Dimension::temperature_difference;
      }
      window.of = std::make_shared<const Expression>(of);
      const bool is_difference = rises || of.minus;
      clause.of = {window, std::nullopt,
                   is_difference ? Dimension::temperature_difference : Dimension::temperature};
      clause.limit = {pick(1, 400) / 10.0, is_difference ? RuleUnit::kelvin : RuleUnit::celsius};
    }
    return make_condition(clause);
  }

  Condition warm_clause(const char* place) {
    return make_condition(
        Clause{{QuantityAt{RuleQuantity::temperature, place}, {}, Dimension::temperature},
               Comparison::above,
               {pick(1, 400) / 10.0, RuleUnit::celsius},
               {}});
  }

  Condition clause() {
    Clause clause;
    const bool warm = pick(0, 1) == 0;
    clause.of = {QuantityAt{warm ? RuleQuantity::temperature : RuleQuantity::humidity,
                            pick(0, 3) == 0 ? "cellar/shelf-1" : ""},
                 std::nullopt, warm ? Dimension::temperature : Dimension::percent};
    const RuleUnit unit = !warm             ? RuleUnit::percent
                          : pick(0, 1) == 0 ? RuleUnit::celsius
                                            : RuleUnit::fahrenheit;
    clause.comparison = static_cast<Comparison>(pick(0, 4));
    clause.limit = {pick(1, 400) / 10.0, unit};
    if (pick(0, 3) == 0) {
      clause.of.minus = QuantityAt{std::get<QuantityAt>(clause.of.term).quantity, "outside"};
      if (warm) {
        clause.of.dimension = Dimension::temperature_difference;
        clause.limit.unit = RuleUnit::kelvin;
      }
    }
    if (clause.comparison == Comparison::between) {
      clause.upper = {clause.limit.number + pick(1, 100) / 10.0, clause.limit.unit};
    }
    return make_condition(clause);
  }

  std::mt19937 random_;
};

TEST_CASE("a printed condition reads back as itself") {
  int compared = 0;
  for (unsigned seed = 0; seed < 3000; ++seed) {
    const Condition condition = Writer(seed).condition(3);
    const std::string text = to_text(condition);
    CAPTURE(std::string(text));
    const auto rule = check_rule(rule_text(text));
    REQUIRE_MESSAGE(rule.has_value(), faults_text(rule_text(text)));
    REQUIRE(same_condition(rule->when, condition));
    REQUIRE(to_text(rule->when) == text);
    ++compared;
    // What it eases by can be written as well.
    const std::string ease = to_text(default_ease(condition));
    CAPTURE(ease);
    const auto eased = check_rule(rule_text(text, ease));
    if (eased) CHECK(same_condition(*eased->until, default_ease(condition)));
  }
  CHECK(compared == 3000);
}

TEST_CASE("text of any kind is answered, never crashed on") {
  const char* const words[] = {
      "temperature", "humidity", "above", "below",   "at",      "least", "between", "and",
      "or",          "not",      "(",     ")",       "lasting", "27",    "°C",      "%",
      "h",           "2",        "minus", "average", "of",      "over",  "time",    "with",
      "within",      ">",        ",",     "\xff",    "27,5",    "-",     "dew",     "point"};
  std::mt19937 random(1);
  for (int i = 0; i < 20000; ++i) {
    std::string text;
    for (auto n = random() % 12; n > 0; --n) {
      text += words[random() % (sizeof(words) / sizeof(words[0]))];
      if (random() % 4 != 0) text += " ";
    }
    const auto rule = check_rule(rule_text(text));
    if (rule) continue;
    REQUIRE(!rule.error().empty());
    for (const RuleFault& fault : rule.error()) {
      REQUIRE(fault.offset <= text.size());
      REQUIRE(fault.offset + fault.length <= text.size());
    }
  }
}

TEST_CASE("places named by a condition are listed once") {
  const auto rule = check_rule(rule_text(
      "temperature at outside above 27 °C and not (humidity at cellar/shelf-1 above 80 % lasting 2 "
      "h or dew point at outside above 10 °C)"));
  REQUIRE(rule.has_value());
  CHECK(places_named(rule->when) == std::vector<std::string>{"cellar/shelf-1", "outside"});
}

TEST_CASE("the nearest word is one slip of the keyboard in three letters away") {
  const std::string_view known[] = {"temperature", "humidity", "move"};
  CHECK(near_word("tempertaure", known) == "temperature");
  CHECK(near_word("humid", known) == "");  // three letters of five are missing
  CHECK(near_word("humidty", known) == "humidity");
  CHECK(near_word("mvoe", known) == "move");  // one swap
  CHECK(near_word("love", known) == "move");
  CHECK(near_word("lave", known) == "");
  CHECK(near_word("", known) == "");
  CHECK(near_word(std::string(1000, 'x'), known) == "");
}

TEST_CASE("units convert by their definitions") {
  // Exact by definition: international pound and ounce, US gallon (NIST Handbook 44, appendix C).
  CHECK(to_canonical({1.0, RuleUnit::pound}, Dimension::mass) == doctest::Approx(453.59237));
  CHECK(to_canonical({16.0, RuleUnit::ounce}, Dimension::mass) == doctest::Approx(453.59237));
  CHECK(to_canonical({1.0, RuleUnit::gallon}, Dimension::volume) == doctest::Approx(3785.411784));
  CHECK(to_canonical({212.0, RuleUnit::fahrenheit}, Dimension::temperature) ==
        doctest::Approx(100.0));
  CHECK(to_canonical({300.0, RuleUnit::kelvin}, Dimension::temperature) == doctest::Approx(26.85));
  CHECK(to_canonical({3.0, RuleUnit::kelvin}, Dimension::temperature_difference) == 3.0);
  CHECK(!measures(RuleUnit::celsius, Dimension::temperature_difference));
  CHECK(!rule_unit_named("c"));
  CHECK(!rule_unit_named("f"));
  CHECK(duration_text(std::chrono::hours(36)) == "36 h");
  CHECK(duration_text(std::chrono::hours(48)) == "2 d");
  CHECK(duration_text(std::chrono::seconds(61)) == "61 s");
}

TEST_CASE("every remedy has a name that reads back and a sentence") {
  for (const RemedyFacts& row : remedies()) {
    const Remedy remedy = row.remedy;
    RuleText text = rule_text("temperature above 27 °C");
    text.remedies = {std::string(remedy_name(remedy))};
    const auto rule = check_rule(text);
    REQUIRE(rule.has_value());
    CHECK(rule->remedies == std::vector<Remedy>{remedy});
    CHECK(remedy_sentence(remedy).back() == '.');
    // A notice has 240 bytes, and the matter itself comes first.
    CHECK(remedy_sentence(remedy).size() <= 130);
  }
}

}  // namespace
}  // namespace torpor::rules

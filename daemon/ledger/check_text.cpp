#include "daemon/ledger/check_text.h"

#include <fmt/format.h>

#include <array>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/sensor_checks.h"

namespace torpor::daemon {
namespace {

template <class T>
using Read = tl::expected<T, SentenceRefusal>;

constexpr std::size_t kLongestName = 64;
constexpr std::string_view kAgainstForm = "check SENSOR against VALUE, with within VALUE if known";

// A good thermometer or hygrometer of a household, two standard deviations (common practice, no
// source); `within` says better.
constexpr double kUsualWithinKelvin = 0.5, kUsualWithinPercent = 4.0;

struct UnitWord {
  std::string_view name;
  Unit unit;
};
// As people write and phones dictate them, whatever the case.
constexpr std::array kUnitWords = {
    UnitWord{"°c", Unit::celsius},      UnitWord{"c", Unit::celsius},
    UnitWord{"degc", Unit::celsius},    UnitWord{"celsius", Unit::celsius},
    UnitWord{"°f", Unit::fahrenheit},   UnitWord{"f", Unit::fahrenheit},
    UnitWord{"degf", Unit::fahrenheit}, UnitWord{"fahrenheit", Unit::fahrenheit},
    UnitWord{"k", Unit::kelvin},        UnitWord{"%", Unit::percent},
    UnitWord{"percent", Unit::percent},
};

struct Value {
  double number = 0.0;
  Unit unit = Unit::celsius;
};

// "21.4 degC", "21.4°C", "-3 C", "55 %". Error: one clause.
tl::expected<Value, std::string> take_value(Cursor& cursor) {
  const std::string_view first = cursor.word();
  const bool negative = first.starts_with('-');
  const std::string_view body = negative ? first.substr(1) : first;
  const std::size_t digits = std::min(body.find_first_not_of("0123456789.,"), body.size());
  if (digits == 0) return tl::unexpected(fmt::format("{} is not a value", cursor.found()));
  const auto number = read_number(body.substr(0, digits));
  if (!number) return tl::unexpected(number.error());
  const bool apart = digits == body.size();
  const std::string_view unit = apart ? cursor.word(1) : body.substr(digits);
  for (const UnitWord& row : kUnitWords) {
    if (!same_word(row.name, unit)) continue;
    cursor.skip(apart ? 2 : 1);
    return Value{negative ? -*number : *number, row.unit};
  }
  return tl::unexpected(
      fmt::format("{} has no unit of temperature or humidity (one of °C, °F, K, %)", shown(first)));
}

// How far the instrument may be off, canonical; two standard deviations.
Read<double> take_within(Cursor& cursor, Quantity quantity, const std::string& example) {
  const bool humidity = quantity == Quantity::humidity;
  if (!cursor.take("within")) return humidity ? kUsualWithinPercent : kUsualWithinKelvin;
  const auto value = take_value(cursor);
  if (!value) {
    return tl::unexpected(refusal("`within`: " + value.error(), kAgainstForm, example));
  }
  if ((value->unit == Unit::percent) != humidity) {
    return tl::unexpected(refusal("`within` is not of the value's kind", kAgainstForm, example));
  }
  const double within = value->unit == Unit::fahrenheit ? value->number / 1.8 : value->number;
  const double most = humidity ? 20.0 : 5.0;
  if (within > 0.0 && within <= most) return within;
  return tl::unexpected(refusal(fmt::format("an instrument is right within more than nothing and "
                                            "at most {:g} {}",
                                            most, humidity ? "%" : "K"),
                                kAgainstForm, example));
}

Read<Instrument> take_comparison(Cursor& cursor, const std::string& example) {
  const auto value = take_value(cursor);
  if (!value) {
    return tl::unexpected(refusal("`against`: " + value.error(), kAgainstForm, example));
  }
  Instrument comparison;
  comparison.quantity = value->unit == Unit::percent ? Quantity::humidity : Quantity::temperature;
  comparison.value = to_canonical(value->number, value->unit);
  const bool air = comparison.quantity == Quantity::humidity
                       ? comparison.value <= 100.0
                       : physically_possible(comparison.quantity, comparison.value);
  if (!air || comparison.value < facts(comparison.quantity).lowest) {
    return tl::unexpected(refusal(fmt::format("{:g} {} is no {} of air", value->number,
                                              symbol(value->unit), facts(comparison.quantity).name),
                                  kAgainstForm, example));
  }
  const auto within = take_within(cursor, comparison.quantity, example);
  if (!within) return tl::unexpected(within.error());
  comparison.uncertainty = *within / 2.0;
  return comparison;
}

// The salt or ice that stands next, taken; nullopt: neither.
std::optional<CheckMeans> take_bath(Cursor& cursor) {
  if (cursor.take("ice") || cursor.take("melting ice")) return MeltingIce{};
  for (const SaltFacts& row : salts()) {
    if (cursor.take(row.name) || cursor.take(row.formula)) return row.salt;
  }
  return std::nullopt;
}

}  // namespace

Read<BeginCheck> read_check(Cursor& cursor) {
  auto sensor = cursor.take_text("the sensor", kLongestName);
  if (!sensor) return tl::unexpected(refusal(sensor.error(), kCheckForm, kCheckExample));
  if (cursor.take("against")) {
    const auto comparison =
        take_comparison(cursor, fmt::format("check {} against 21.4 °C", as_told(*sensor)));
    if (!comparison) return tl::unexpected(comparison.error());
    return BeginCheck{std::move(*sensor), *comparison};
  }
  const std::string example = fmt::format("calibrate {} in table salt", as_told(*sensor));
  if (!cursor.take("in")) {
    return tl::unexpected(refusal(fmt::format("`in` and a salt or ice, or `against` and a value, "
                                              "are missing; {} stands in their place",
                                              cursor.found()),
                                  kCheckForm, example));
  }
  const auto bath = take_bath(cursor);
  if (!bath) {
    return tl::unexpected(refusal(fmt::format("{} is neither ice nor a salt whose humidity is "
                                              "known; known are {}",
                                              cursor.found(), bath_names()),
                                  kCheckForm, example));
  }
  return BeginCheck{std::move(*sensor), *bath};
}

}  // namespace torpor::daemon

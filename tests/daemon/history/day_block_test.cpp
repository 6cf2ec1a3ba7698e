#include "daemon/history/day_block.h"

#include <doctest/doctest.h>

#include <bit>
#include <cmath>
#include <limits>
#include <random>

#include "daemon/history/integer_column.h"
#include "daemon/history/value_grid.h"
#include "samples.h"

namespace torpor::daemon {
namespace {

const std::int64_t kThatDay = day_of(kEvening);
constexpr auto kADay = std::chrono::days(1);

bool same_bits(const std::vector<Reading>& a, const std::vector<Reading>& b) {
  const auto bits = [](const Reading& reading) {
    return std::bit_cast<std::uint64_t>(reading.raw);
  };
  return a == b && std::ranges::equal(a, b, {}, bits, bits);
}

// One reading a minute from midnight with these values.
std::vector<Reading> minutes(const std::vector<double>& values) {
  std::vector<Reading> readings;
  Instant at = start_of_day(kThatDay);
  for (const double value : values) {
    readings.push_back(temperature(value, at));
    at += std::chrono::minutes(1);
  }
  return readings;
}

std::vector<Reading> back(const std::vector<Reading>& readings) {
  const auto decoded = decode_day(kThatDay, readings.front().sensor, readings.front().quantity,
                                  encode_day(kThatDay, readings));
  REQUIRE(decoded);
  return *decoded;
}

TEST_CASE("a day begins at midnight UTC and ends before the next") {
  CHECK(day_of(instant_of(0)) == 0);
  CHECK(day_of(instant_of(86'399'999)) == 0);
  CHECK(day_of(instant_of(86'400'000)) == 1);
  CHECK(day_of(instant_of(-1)) == -1);
  CHECK(start_of_day(1) == instant_of(86'400'000));
}

TEST_CASE("values of every kind come back bit for bit") {
  using Limits = std::numeric_limits<double>;
  struct Row {
    const char* what;
    std::vector<double> values;
  };
  const Row rows[] = {
      {"one value", {21.5}},
      {"the same value all along", std::vector<double>(1440, 21.5)},
      {"short decimals", {21.5, 21.53, -3.07, 0.1, 21.4999, 0}},
      {"means of three", {64.1 / 3, 64.2 / 3, 64.4 / 3, 64.3 / 3}},
      {"means of three printed in 15 digits", {21.3666666666667, 21.4, 21.4333333333333}},
      {"decimals that were floats", {double{21.7f}, double{21.8f}, double{-0.3f}}},
      {"minus zero among zeros", {0.0, -0.0, 0.0, 0.0}},
      {"the ends of what doubles can be",
       {Limits::max(), Limits::lowest(), Limits::denorm_min(), -Limits::denorm_min(), Limits::min(),
        1e300, 0.1}},
      {"whole numbers around 2^53", {9007199254740991.0, 9007199254740992.0, -9007199254740993.0}},
  };
  for (const Row& row : rows) {
    CAPTURE(row.what);
    CHECK(same_bits(back(minutes(row.values)), minutes(row.values)));
  }
}

TEST_CASE("times, marks, units and arrivals come back as they were") {
  std::vector<Reading> readings = minutes({70.5, 21.5, 294.65, 21.6});
  readings[0].unit = Unit::fahrenheit;
  readings[0].marks = kOutOfRange | kImported;
  readings[2].unit = Unit::kelvin;
  readings[2].marks = 255;
  readings[1].received_at = instant_of(std::numeric_limits<std::int64_t>::max());
  readings[2].received_at = instant_of(std::numeric_limits<std::int64_t>::min());
  readings[3].measured_at = start_of_day(kThatDay + 1) - Duration(1);
  CHECK(same_bits(back(readings), readings));
}

TEST_CASE("random days come back bit for bit") {
  std::mt19937_64 random(20260302);
  const auto pick = [&random](std::int64_t from, std::int64_t to) {
    return std::uniform_int_distribution<std::int64_t>(from, to)(random);
  };
  for (int round = 0; round < 150; ++round) {
    CAPTURE(round);
    const std::int64_t manner = pick(0, 5);
    const std::int64_t most_gap = std::int64_t{1} << pick(0, 24);
    const std::int64_t time_step = pick(0, 1) == 0 ? 1 : 1000;
    double level = static_cast<double>(pick(-300, 900)) / 10;
    std::vector<Reading> readings;
    Instant at = start_of_day(kThatDay) + Duration(time_step * pick(0, 80'000));
    while (at < start_of_day(kThatDay) + kADay && readings.size() < 400) {
      const double step = static_cast<double>(pick(-20, 20));
      switch (manner) {
        case 0:
          level = std::round(level * 100 + step) / 100;
          break;
        case 1:
          level = std::round(level * 60 + step) / 60;
          break;
        case 2:
          level = static_cast<double>(static_cast<float>(level + step / 10));
          break;
        case 3:
          level = level * 1.0001 + step / 7;
          break;
        default:  // anything that is a number
          do {
            level = std::bit_cast<double>(random());
          } while (!std::isfinite(level));
      }
      Reading next = temperature(level, at);
      next.received_at = at + Duration(pick(0, 1) == 0 ? 250 : pick(-5, 100'000));
      if (pick(0, 50) == 0) next.marks = static_cast<std::uint8_t>(pick(0, 255));
      if (pick(0, 50) == 0) next.unit = static_cast<Unit>(pick(1, 3));
      readings.push_back(next);
      at += Duration(time_step * pick(1, most_gap));
    }
    if (readings.empty()) continue;
    CHECK(same_bits(back(readings), readings));
  }
}

TEST_CASE("a minute's readings with two decimals take less than a byte each") {
  // A slow wave with noise of the last digit, as a quiet cellar gives it.
  std::mt19937 random(7);
  std::vector<double> values;
  for (int minute = 0; minute < 1440; ++minute) {
    const double wave = 1100 + 50 * std::sin(minute / 229.0);
    const auto noise = static_cast<int>(random() % 5) - 2;
    values.push_back(std::round(wave + noise) / 100);
  }
  CHECK(encode_day(kThatDay, minutes(values)).size() < 1440);
}

TEST_CASE("a block with any bit changed, or cut short, is refused") {
  const auto readings = minutes({21.5, 21.53, 21.3666666666667, 21.4, 21.41});
  const std::string good = encode_day(kThatDay, readings);
  REQUIRE(decode_day(kThatDay, "s1", Quantity::temperature, good) == readings);
  for (std::size_t size = 0; size < good.size(); ++size) {
    CHECK_FALSE(decode_day(kThatDay, "s1", Quantity::temperature, good.substr(0, size)));
  }
  CHECK_FALSE(decode_day(kThatDay, "s1", Quantity::temperature, good + good));
  for (std::size_t bit = 0; bit < good.size() * 8; ++bit) {
    std::string bytes = good;
    bytes[bit / 8] = static_cast<char>(bytes[bit / 8] ^ (1 << (bit % 8)));
    const auto decoded = decode_day(kThatDay, "s1", Quantity::temperature, bytes);
    CAPTURE(bit);
    // A frame's header has bits that mean nothing; no change may give other readings.
    CHECK((!decoded || *decoded == readings));
  }
}

TEST_CASE("a block is refused as another quantity's") {
  const std::string block = encode_day(kThatDay, minutes({21.5}));
  CHECK_FALSE(decode_day(kThatDay, "s1", Quantity::humidity, block));
}

TEST_CASE("a summary says what is in a day, of trusted readings in the canonical unit") {
  auto readings = minutes({70.0, 21.5, 900.0, 19.5, 20.0});
  readings[0].unit = Unit::fahrenheit;
  readings[2].marks = kOutOfRange;
  ReadingSummary summary;
  for (const Reading& reading : readings) summary.add(reading);
  CHECK(summary.readings == 5);
  CHECK(summary.trusted == 4);
  CHECK(summary.sum == doctest::Approx((70.0 - 32) / 1.8 + 21.5 + 19.5 + 20.0));
  CHECK(summary.first->value == doctest::Approx((70.0 - 32) / 1.8));
  CHECK(summary.last == ReadingSummary::Extreme{20.0, readings[4].measured_at});
  CHECK(summary.highest == ReadingSummary::Extreme{21.5, readings[1].measured_at});
  CHECK(summary.lowest == ReadingSummary::Extreme{19.5, readings[3].measured_at});
  CHECK(summary.first_measured == readings[0].measured_at);
  CHECK(summary.last_measured == readings[4].measured_at);

  // In two parts it is the same.
  ReadingSummary head;
  ReadingSummary tail;
  for (std::size_t i = 0; i < 5; ++i) (i < 3 ? head : tail).add(readings[i]);
  head.add(tail);
  CHECK(head == summary);
}

TEST_CASE("a summary of nothing that is trusted has no values") {
  auto readings = minutes({900.0});
  readings[0].marks = kOutOfRange;
  ReadingSummary summary;
  summary.add(readings[0]);
  CHECK(summary.readings == 1);
  CHECK_FALSE(summary.first);
  ReadingSummary before;
  before.add(summary);
  CHECK(before == summary);
}

TEST_CASE("a grid knows its own values and no others") {
  const ValueGrid cents{2, GridRounding::nearest};
  CHECK(cents.number_of(21.53) == 2153);
  CHECK(cents.number_of(-0.07) == -7);
  CHECK(cents.number_of(0.0) == 0);
  CHECK_FALSE(cents.number_of(-0.0));
  CHECK_FALSE(cents.number_of(21.535));
  CHECK_FALSE(cents.number_of(1e300));
  const ValueGrid means{9, GridRounding::fifteen_digits};  // of 600
  CHECK(means.number_of(21.3666666666667) == 12820);
  CHECK(means.number_of(-21.3666666666667) == -12820);
  CHECK_FALSE(means.number_of(12820 / 600.0));
  CHECK(ValueGrid{9, GridRounding::nearest}.number_of(12820 / 600.0) == 12820);
  CHECK(ValueGrid{1, GridRounding::single}.number_of(double{21.7f}) == 217);
  CHECK_FALSE(ValueGrid{1, GridRounding::single}.number_of(21.7));
}

TEST_CASE("columns of whole numbers come back, at both sides of an alphabet's size") {
  using Limits = std::numeric_limits<std::int64_t>;
  std::vector<std::vector<std::int64_t>> columns{
      {}, {0}, {-1, -1, -1}, {Limits::min(), Limits::max(), 0, -1, 1}, {5, 300, 5, 300}};
  for (const std::int64_t letters : {255, 256, 257}) {
    columns.emplace_back();
    for (std::int64_t i = 0; i < 3 * letters; ++i) columns.back().push_back((i % letters) * 1000);
  }
  for (const auto& column : columns) {
    std::string bytes;
    put_column(bytes, column);
    ColumnReader reader(bytes);
    CHECK(reader.column(column.size()) == column);
    CHECK(reader.finished());
    auto there_and_back = column;
    to_differences(there_and_back);
    from_differences(there_and_back);
    CHECK(there_and_back == column);
  }
}

TEST_CASE("varints that do not end or do not fit are refused") {
  for (const std::string& bytes :
       {std::string(), std::string("\x80"), std::string(10, '\x80') + '\x01',
        std::string(9, '\xff') + '\x02'}) {
    ColumnReader reader(bytes);
    CHECK(reader.varint() == 0);
    CHECK(reader.failed());
  }
  const std::string largest = std::string(9, '\xff') + '\x01';
  ColumnReader reader(largest);
  CHECK(reader.varint() == std::numeric_limits<std::uint64_t>::max());
  CHECK(reader.finished());
}

}  // namespace
}  // namespace torpor::daemon

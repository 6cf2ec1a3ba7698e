// block    = one Zstandard frame (RFC 8878) with content size and checksum around `body`
// body     = format:u8=1 count:varint times received units marks values
// times    = scale:varint column           column: second differences of (measured - start of
//                                          day) / scale; scale in ms: the largest that divides all
// received = 0:u8 column                   received - measured, ms
//          | 1:u8 column                   differences of received - start of day, ms
// units    = column                        marks = column
// values   = 0:u8 { raw:f64 }              as they are
//          | 1:u8 divisor:u8 rounding:u8 column exceptions
//                                          column: differences of the numbers on a grid
//                                          (value_grid.h); an exception's is 0
// exceptions = count:varint { skipped:varint raw:f64 }      skipped: readings since the last one
// column, varint: integer_column.cpp. f64: 8 bytes, little-endian.
#include "daemon/history/day_block.h"

#include <zstd.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "daemon/history/integer_column.h"
#include "daemon/history/little_endian.h"
#include "daemon/history/value_grid.h"
#include "rules/watch/varint.h"

namespace torpor::daemon {
namespace {

constexpr std::uint8_t kBlockFormat = 1;                                     // stored
enum ReceivedKind : std::uint8_t { kDelays = 0, kReceivedDifferences = 1 };  // stored
enum ValuesKind : std::uint8_t { kAsTheyAre = 0, kOnGrid = 1 };              // stored

constexpr std::int64_t kDayMs = 86'400'000;
// Measured on a minute's readings of a room: level 12 is within 1 % of 19 and several times faster.
// To compare grids a level for speed ranks them well enough.
constexpr int kCompressionLevel = 12;
constexpr int kComparingLevel = 1;
// A grid is worth its exceptions (9 bytes each) only while they are few.
constexpr std::size_t kFewestOnGridInEight = 7;
// Readings that a grid is tried on before it is tried on all.
constexpr std::size_t kSample = 64;
// The largest body: every field of every reading at its widest, and alphabets.
constexpr std::size_t kLargestBody = kMostReadingsInBlock * 48 + 4096;

std::int64_t minus(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}
std::int64_t plus(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
}

struct FrameContext {
  explicit FrameContext(int level) : context(ZSTD_createCCtx()) {
    ZSTD_CCtx_setParameter(context, ZSTD_c_compressionLevel, level);
    ZSTD_CCtx_setParameter(context, ZSTD_c_checksumFlag, 1);
  }
  ~FrameContext() { ZSTD_freeCCtx(context); }
  FrameContext(const FrameContext&) = delete;
  FrameContext& operator=(const FrameContext&) = delete;
  ZSTD_CCtx* const context;
};

std::string compressed(FrameContext& frames, const std::string& body) {
  std::string bytes(ZSTD_compressBound(body.size()), '\0');
  const std::size_t size =
      ZSTD_compress2(frames.context, bytes.data(), bytes.size(), body.data(), body.size());
  // With room for the worst case it fails only without memory.
  if (ZSTD_isError(size) != 0) throw std::bad_alloc();
  bytes.resize(size);
  return bytes;
}

std::optional<std::string> decompressed(std::string_view bytes) {
  const auto size = ZSTD_getFrameContentSize(bytes.data(), bytes.size());
  // The two error values are the largest numbers there are.
  if (size > kLargestBody) return std::nullopt;
  std::string body(static_cast<std::size_t>(size), '\0');
  const std::size_t got = ZSTD_decompress(body.data(), body.size(), bytes.data(), bytes.size());
  if (ZSTD_isError(got) != 0 || got != body.size()) return std::nullopt;
  return body;
}

void put_times(std::string& body, std::int64_t day, const std::vector<Reading>& readings) {
  std::vector<std::int64_t> times;
  std::int64_t scale = 0;
  for (const Reading& reading : readings) {
    times.push_back(minus(unix_ms(reading.measured_at), day * kDayMs));
    scale = std::gcd(scale, times.back());
  }
  scale = std::max<std::int64_t>(scale, 1);
  for (std::int64_t& time : times) time /= scale;
  to_differences(times);
  to_differences(times);
  rules::put_varint(body, static_cast<std::uint64_t>(scale));
  put_column(body, times);
}

void put_received(std::string& body, std::int64_t day, const std::vector<Reading>& readings) {
  std::vector<std::int64_t> delays;
  std::vector<std::int64_t> moments;
  for (const Reading& reading : readings) {
    delays.push_back(minus(unix_ms(reading.received_at), unix_ms(reading.measured_at)));
    moments.push_back(minus(unix_ms(reading.received_at), day * kDayMs));
  }
  to_differences(moments);
  std::string by_delay(1, static_cast<char>(kDelays));
  std::string by_moment(1, static_cast<char>(kReceivedDifferences));
  put_column(by_delay, delays);
  put_column(by_moment, moments);
  body += by_delay.size() <= by_moment.size() ? by_delay : by_moment;
}

std::string values_as_they_are(const std::vector<Reading>& readings) {
  std::string values(1, static_cast<char>(kAsTheyAre));
  for (const Reading& reading : readings) put_double(values, reading.raw);
  return values;
}

struct GridValues {
  std::string bytes;
  bool exact = false;  // without exceptions
};

// nullopt: too many readings are not on the grid.
std::optional<GridValues> values_on_grid(const ValueGrid& grid,
                                         const std::vector<Reading>& readings) {
  std::vector<std::int64_t> numbers;
  std::string exceptions;
  std::size_t excepted = 0;
  std::size_t skipped = 0;
  numbers.reserve(readings.size());
  for (const Reading& reading : readings) {
    if (const auto number = grid.number_of(reading.raw)) {
      numbers.push_back(*number);
      ++skipped;
      continue;
    }
    if (++excepted * 8 > readings.size() * (8 - kFewestOnGridInEight)) return std::nullopt;
    numbers.push_back(numbers.empty() ? 0 : numbers.back());
    rules::put_varint(exceptions, skipped);
    put_double(exceptions, reading.raw);
    skipped = 0;
  }
  to_differences(numbers);
  std::string values{static_cast<char>(kOnGrid), static_cast<char>(grid.divisor),
                     static_cast<char>(grid.rounding)};
  put_column(values, numbers);
  rules::put_varint(values, excepted);
  return GridValues{values + exceptions, excepted == 0};
}

bool fits_sample(const ValueGrid& grid, const std::vector<Reading>& readings) {
  const std::size_t step = std::max<std::size_t>(readings.size() / kSample, 1);
  std::size_t tried = 0;
  std::size_t on_grid = 0;
  for (std::size_t i = 0; i < readings.size(); i += step) {
    ++tried;
    if (grid.number_of(readings[i].raw)) ++on_grid;
  }
  // A sample may be unlucky: half of what is asked of all.
  return on_grid * 8 >= tried * (kFewestOnGridInEight - 3);
}

// Those worth comparing: of decimals and of means, for each rounding, up to the coarsest grid that
// has all values. A finer one has the same numbers, only larger.
std::vector<std::string> candidates(const std::vector<Reading>& readings) {
  std::vector<std::string> found{values_as_they_are(readings)};
  for (const std::uint8_t family : {std::uint8_t{0}, kFirstMeansDivisor}) {
    const std::uint8_t end =
        family == 0 ? kFirstMeansDivisor : static_cast<std::uint8_t>(kGridDivisors.size());
    for (const auto rounding :
         {GridRounding::nearest, GridRounding::fifteen_digits, GridRounding::single}) {
      bool exact = false;
      for (std::uint8_t divisor = family; divisor < end && !exact; ++divisor) {
        const ValueGrid grid{divisor, rounding};
        if (!fits_sample(grid, readings)) continue;
        auto values = values_on_grid(grid, readings);
        if (!values) continue;
        exact = values->exact;
        found.push_back(std::move(values->bytes));
      }
      // Decimals without exceptions are what was sent: no other grid says it shorter.
      if (exact && family == 0) return found;
    }
  }
  return found;
}

std::optional<std::vector<std::int64_t>> read_times(ColumnReader& body, std::size_t count) {
  const std::uint64_t scale = body.varint();
  auto times = body.column(count);
  if (!times || scale == 0 || scale > static_cast<std::uint64_t>(kDayMs)) return std::nullopt;
  from_differences(*times);
  from_differences(*times);
  std::int64_t before = -1;
  for (std::int64_t& time : *times) {
    if (time < 0 || time >= kDayMs) return std::nullopt;
    time *= static_cast<std::int64_t>(scale);
    if (time <= before || time >= kDayMs) return std::nullopt;
    before = time;
  }
  return times;
}

bool read_values(ColumnReader& body, std::vector<Reading>& readings) {
  const std::uint8_t kind = body.byte();
  if (kind == kAsTheyAre) {
    for (Reading& reading : readings) reading.raw = body.real();
    return !body.failed();
  }
  const ValueGrid grid{body.byte(), static_cast<GridRounding>(body.byte())};
  if (kind != kOnGrid || grid.divisor >= kGridDivisors.size() ||
      grid.rounding > GridRounding::single) {
    return false;
  }
  auto numbers = body.column(readings.size());
  if (!numbers) return false;
  from_differences(*numbers);
  for (std::size_t i = 0; i < readings.size(); ++i) {
    const std::int64_t number = (*numbers)[i];
    if (number > kLargestGridNumber || number < -kLargestGridNumber) return false;
    readings[i].raw = grid.value_of(number);
  }
  std::size_t next = 0;
  for (std::uint64_t left = body.varint(); left > 0; --left) {
    const std::uint64_t skipped = body.varint();
    if (body.failed() || skipped >= readings.size() - next) return false;
    next += static_cast<std::size_t>(skipped);
    readings[next++].raw = body.real();
  }
  return !body.failed();
}

}  // namespace

std::int64_t day_of(Instant instant) {
  return std::chrono::floor<std::chrono::days>(instant).time_since_epoch().count();
}
Instant start_of_day(std::int64_t day) { return instant_of(day * kDayMs); }

std::string encode_day(std::int64_t day, const std::vector<Reading>& readings) {
  std::string body(1, static_cast<char>(kBlockFormat));
  rules::put_varint(body, readings.size());
  put_times(body, day, readings);
  put_received(body, day, readings);
  std::vector<std::int64_t> units;
  std::vector<std::int64_t> marks;
  for (const Reading& reading : readings) {
    units.push_back(static_cast<std::int64_t>(reading.unit));
    marks.push_back(reading.marks);
  }
  put_column(body, units);
  put_column(body, marks);

  // The smallest wins; what is one grid's exception may be another's rule.
  FrameContext comparing(kComparingLevel);
  std::size_t smallest = std::numeric_limits<std::size_t>::max();
  std::string values;
  for (std::string& candidate : candidates(readings)) {
    const std::size_t size = compressed(comparing, body + candidate).size();
    if (size >= smallest) continue;
    smallest = size;
    values = std::move(candidate);
  }
  FrameContext frames(kCompressionLevel);
  return compressed(frames, body + values);
}

std::optional<std::vector<Reading>> decode_day(std::int64_t day, std::string_view sensor,
                                               Quantity quantity, std::string_view bytes) {
  const auto whole = decompressed(bytes);
  if (!whole) return std::nullopt;
  ColumnReader body(*whole);
  if (body.byte() != kBlockFormat) return std::nullopt;
  const std::uint64_t told = body.varint();
  if (body.failed() || told == 0 || told > kMostReadingsInBlock) return std::nullopt;
  const auto count = static_cast<std::size_t>(told);
  const auto times = read_times(body, count);
  const std::uint8_t received_kind = body.byte();
  auto received = body.column(count);
  const auto units = body.column(count);
  const auto marks = body.column(count);
  if (!times || !received || !units || !marks || received_kind > kReceivedDifferences) {
    return std::nullopt;
  }
  if (received_kind == kReceivedDifferences) from_differences(*received);

  std::vector<Reading> readings(count);
  for (std::size_t i = 0; i < count; ++i) {
    Reading& reading = readings[i];
    if ((*units)[i] < 1 || (*units)[i] > 4 || (*marks)[i] < 0 || (*marks)[i] > 255) {
      return std::nullopt;
    }
    reading.sensor = sensor;
    reading.quantity = quantity;
    reading.unit = static_cast<Unit>((*units)[i]);
    if (!measures(reading.unit, quantity)) return std::nullopt;
    reading.marks = static_cast<std::uint8_t>((*marks)[i]);
    const std::int64_t measured = plus(day * kDayMs, (*times)[i]);
    reading.measured_at = instant_of(measured);
    reading.received_at =
        instant_of(plus(received_kind == kDelays ? measured : day * kDayMs, (*received)[i]));
  }
  if (!read_values(body, readings) || !body.finished()) return std::nullopt;
  const bool all_finite = std::ranges::all_of(
      readings, [](const Reading& reading) { return std::isfinite(reading.raw); });
  if (!all_finite) return std::nullopt;
  return readings;
}

}  // namespace torpor::daemon

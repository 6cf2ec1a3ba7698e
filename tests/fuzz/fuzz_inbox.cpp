// Any bytes as a segment of the inbox, and as one record's payload: damage is counted, never
// believed and never an endless search; what is read can be written again and is then the same.
#include <cstdint>
#include <string>
#include <string_view>

#include "daemon/history/inbox_codec.h"
#include "daemon/history/inbox_segment.h"
#include "tests/fuzz/checks.h"

namespace {

using namespace torpor;
using namespace torpor::daemon;

void try_segment(std::string_view bytes, ScanFrom from) {
  std::uint64_t visited = 0, last = 7;
  const SegmentScan scan = scan_segment(bytes, from, 7, [&](InboxRecord&& record) {
    fuzz::require(record.sequence > last, "numbers rise");
    last = record.sequence;
    ++visited;
  });
  fuzz::require(scan.records == visited, "every readable record is visited");
  fuzz::require(scan.good_bytes <= bytes.size(), "nothing is read behind the end");
  fuzz::require(scan.last_sequence == last, "the last number is that of the last record");
}

void try_payload(std::uint8_t kind, std::string_view bytes) {
  const auto payload = decode_payload(kind, bytes);
  if (!payload) return;
  fuzz::require(static_cast<std::uint8_t>(record_kind(*payload)) == kind, "a kind stays its kind");
  std::string again;
  encode_payload(*payload, again);
  // The same ids may stand in another order: what is written a second time must not change.
  const auto twice = decode_payload(kind, again);
  fuzz::require(twice.has_value(), "a payload comes back from its own bytes");
  std::string third;
  encode_payload(*twice, third);
  fuzz::require(third == again, "and is the same");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  try_segment(bytes, ScanFrom::header);
  try_segment(bytes, ScanFrom::record);
  if (!bytes.empty()) try_payload(data[0], bytes.substr(1));
  return 0;
}

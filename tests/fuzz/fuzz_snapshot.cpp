// Any bytes as the engine's snapshot: refused with a sentence and nothing changed, or taken up by
// an engine that then goes on.
#include <cstdint>
#include <string>
#include <string_view>

#include "config/rulebook.h"
#include "rules/watch/watch.h"
#include "tests/fuzz/checks.h"

namespace torpor::fuzz {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

// As long as a snapshot may name any time, going on from it must not step through years of timers.
constexpr Instant kThen = instant_of(1772409600000);  // 2026-03-02T00:00:00Z

const rules::WatchSettings& settings() {
  static const rules::WatchSettings made = [] {
    rules::WatchSettings cellar;
    cellar.layout.places = {{"cellar", false}, {"cellar/shelf-1", false}};
    cellar.layout.sensors = {{"s1",
                              "cellar/shelf-1",
                              "",
                              rules::Senses::air,
                              {Quantity::temperature, Quantity::humidity},
                              minutes(10),
                              minutes(30)}};
    cellar.book = config::read_rulebook(config::built_in_rulebook(), "built-in").rules;
    return cellar;
  }();
  return made;
}

}  // namespace
}  // namespace torpor::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace torpor;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  rules::Watch watch(fuzz::settings());
  const std::string before = watch.snapshot();
  if (const auto taken = watch.restore(bytes); !taken) {
    fuzz::require_message(taken.error(), 1000);
    fuzz::require(watch.snapshot() == before, "what is refused changes nothing");
    return 0;
  }
  const std::string again = watch.snapshot();
  rules::Watch second(fuzz::settings());
  fuzz::require(second.restore(again).has_value(), "what was taken up is a snapshot again");
  return 0;
}

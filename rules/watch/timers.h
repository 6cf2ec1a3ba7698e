// Due times of everything but alerts, earliest first. A timer is not moved when its owner's due
// time moves back: it goes off early, the owner finds nothing to do and sets the next one. So a
// reading that only puts off "until this value runs out" costs nothing here.
#pragma once

#include <algorithm>
#include <cstdint>
#include <tuple>
#include <vector>

#include "rules/watch/air_timeline.h"

namespace torpor::rules {

// air_calm, sensor_calm: the instances of an air, or a sensor, that lie calm.
enum class TimerOwner : std::uint8_t { instance, sensor, jar, air_calm, sensor_calm };

struct Timer {
  Instant at;
  TimerOwner owner = TimerOwner::instance;
  std::size_t index = 0;
  friend bool operator>(const Timer& a, const Timer& b) {
    return std::tie(a.at, a.owner, a.index) > std::tie(b.at, b.owner, b.index);
  }
};

class Timers {
 public:
  void set(const Timer& timer) {
    heap_.push_back(timer);
    std::push_heap(heap_.begin(), heap_.end(), std::greater<>());
  }
  [[nodiscard]] bool empty() const { return heap_.empty(); }
  // Preconditions: not empty.
  [[nodiscard]] const Timer& first() const { return heap_.front(); }
  Timer take() {
    std::pop_heap(heap_.begin(), heap_.end(), std::greater<>());
    const Timer timer = heap_.back();
    heap_.pop_back();
    return timer;
  }
  void clear() { heap_.clear(); }

 private:
  std::vector<Timer> heap_;
};

}  // namespace torpor::rules

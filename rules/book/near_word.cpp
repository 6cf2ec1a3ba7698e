#include "rules/book/near_word.h"

#include <algorithm>
#include <array>
#include <cstddef>

namespace torpor::rules {
namespace {

// Longer than any known word; a longer text is no slip of one.
constexpr std::size_t kLongestWord = 40;

// Optimal string alignment: insertions, deletions, changes and swaps of neighbours (Damerau 1964).
std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::array<std::array<std::size_t, kLongestWord + 1>, kLongestWord + 1> cost{};
  for (std::size_t i = 0; i <= a.size(); ++i) cost[i][0] = i;
  for (std::size_t j = 0; j <= b.size(); ++j) cost[0][j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = a[i - 1] == b[j - 1] ? 0 : 1;
      std::size_t best =
          std::min({cost[i - 1][j] + 1, cost[i][j - 1] + 1, cost[i - 1][j - 1] + change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
        best = std::min(best, cost[i - 2][j - 2] + 1);
      }
      cost[i][j] = best;
    }
  }
  return cost[a.size()][b.size()];
}

}  // namespace

std::string_view near_word(std::string_view word, std::span<const std::string_view> known) {
  if (word.empty() || word.size() > kLongestWord) return {};
  std::string_view nearest;
  std::size_t least = std::min<std::size_t>(3, std::max<std::size_t>(1, word.size() / 3)) + 1;
  for (const std::string_view candidate : known) {
    if (candidate.size() > kLongestWord) continue;
    const std::size_t distance = edit_distance(word, candidate);
    if (distance < least) {
      least = distance;
      nearest = candidate;
    }
  }
  return nearest;
}

}  // namespace torpor::rules

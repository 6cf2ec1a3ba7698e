// Makes new inputs out of a corpus by small random damage. Deterministic for a seed.
#pragma once

#include <cstdint>
#include <random>
#include <string>
#include <vector>

namespace torpor::fuzz {

class Mutator {
 public:
  // Inputs grow to at most `longest` bytes. The corpus may be empty; so may the dictionary.
  Mutator(std::vector<std::string> corpus, std::vector<std::string> dictionary, std::size_t longest,
          std::uint64_t seed);

  // One corpus entry after one to eight mutations.
  [[nodiscard]] std::string next();

 private:
  [[nodiscard]] std::size_t below(std::size_t limit);
  [[nodiscard]] std::string any_of(const std::vector<std::string>& texts);

  void mutate(std::string& input);
  void change_byte(std::string& input);
  void change_number(std::string& input);
  void insert(std::string& input, const std::string& text);
  void replace(std::string& input, const std::string& text);
  void erase(std::string& input);
  void repeat(std::string& input);
  void splice(std::string& input);

  const std::vector<std::string> corpus_;
  const std::vector<std::string> dictionary_;
  const std::size_t longest_;
  std::mt19937_64 random_;
};

}  // namespace torpor::fuzz

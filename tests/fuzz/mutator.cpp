#include "tests/fuzz/mutator.h"

#include <algorithm>
#include <utility>

namespace torpor::fuzz {

Mutator::Mutator(std::vector<std::string> corpus, std::vector<std::string> dictionary,
                 std::size_t longest, std::uint64_t seed)
    : corpus_(std::move(corpus)),
      dictionary_(std::move(dictionary)),
      longest_(longest),
      random_(seed) {}

std::string Mutator::next() {
  std::string input = any_of(corpus_);
  for (std::size_t left = 1 + below(8); left > 0; --left) mutate(input);
  if (input.size() > longest_) input.resize(longest_);
  return input;
}

// Not std::uniform_int_distribution: its numbers differ between libraries, and a seed would not
// repeat a run elsewhere. The slight bias of % does not matter here.
std::size_t Mutator::below(std::size_t limit) {
  return limit == 0 ? 0 : static_cast<std::size_t>(random_() % limit);
}

std::string Mutator::any_of(const std::vector<std::string>& texts) {
  return texts.empty() ? std::string() : texts[below(texts.size())];
}

void Mutator::mutate(std::string& input) {
  switch (below(10)) {
    case 0:
    case 1:
      return change_byte(input);
    case 2:
      return change_number(input);
    case 3:
    case 4:
      return insert(input, any_of(dictionary_));
    case 5:
      return replace(input, any_of(dictionary_));
    case 6:
      return erase(input);
    case 7:
      return repeat(input);
    case 8:
      return splice(input);
    default:
      input.resize(below(input.size() + 1));
  }
}

void Mutator::change_byte(std::string& input) {
  if (input.empty()) return input.push_back(static_cast<char>(below(256)));
  char& byte = input[below(input.size())];
  switch (below(3)) {
    case 0:
      byte = static_cast<char>(static_cast<unsigned char>(byte) ^ (1U << below(8)));
      return;
    case 1:
      byte = static_cast<char>(below(256));
      return;
    default:
      byte = static_cast<char>(' ' + below(95));
  }
}

// Readers of text care about numbers: one digit becomes another, or many.
void Mutator::change_number(std::string& input) {
  const std::size_t start = below(input.size() + 1);
  const std::size_t at = input.find_first_of("0123456789", start);
  if (at == std::string::npos) return;
  const char digit = static_cast<char>('0' + below(10));
  if (below(4) == 0) {
    input.insert(at, below(400), digit);
  } else {
    input[at] = digit;
  }
}

void Mutator::insert(std::string& input, const std::string& text) {
  input.insert(below(input.size() + 1), text);
}

void Mutator::replace(std::string& input, const std::string& text) {
  const std::size_t at = below(input.size() + 1);
  input.replace(at, std::min(text.size(), input.size() - at), text);
}

void Mutator::erase(std::string& input) {
  const std::size_t at = below(input.size() + 1);
  input.erase(at, 1 + below(16));
}

void Mutator::repeat(std::string& input) {
  const std::size_t at = below(input.size() + 1);
  const std::string part = input.substr(at, 1 + below(32));
  // Mostly once; now and then often enough to meet a limit on depth or size.
  const std::size_t times = below(20) == 0 ? below(2000) : 1;
  std::string repeated;
  for (std::size_t i = 0; i < times && repeated.size() < longest_; ++i) repeated += part;
  input.insert(at, repeated);
}

void Mutator::splice(std::string& input) {
  const std::string other = any_of(corpus_);
  input.resize(below(input.size() + 1));
  input += other.substr(below(other.size() + 1));
}

}  // namespace torpor::fuzz

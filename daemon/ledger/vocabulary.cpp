#include "daemon/ledger/vocabulary.h"

#include <algorithm>
#include <array>

#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

using rules::culture::Sign;

constexpr std::array kVessels = {
    Word<Vessel>{"glass", Vessel::glass},
    Word<Vessel>{"ceramic", Vessel::ceramic},
    Word<Vessel>{"clay", Vessel::clay},
    Word<Vessel>{"plastic", Vessel::plastic},
};
constexpr std::array kCookedWords = {
    Word<CookedWord>{"dry", CookedWord::dry},
    Word<CookedWord>{"firm", CookedWord::firm},
    Word<CookedWord>{"soft", CookedWord::soft},
};
constexpr std::array kSugarKinds = {
    Word<SugarKind>{"white", SugarKind::white},
    Word<SugarKind>{"brown", SugarKind::brown},
    Word<SugarKind>{"raw", SugarKind::raw},
};

// Other words for signs that phones and keepers use.
constexpr std::array kOtherSigns = {
    Word<Sign>{"bubbles", Sign::bubbling},
    Word<Sign>{"crystal", Sign::crystals},
    Word<Sign>{"wet", Sign::wet_surface},
    Word<Sign>{"smells sweet", Sign::sweet_smell},
    Word<Sign>{"smells of alcohol", Sign::alcohol_smell},
    Word<Sign>{"smells sour", Sign::sour_smell},
    Word<Sign>{"smells rotten", Sign::rotten_smell},
    Word<Sign>{"white mould", Sign::white_growth},
    Word<Sign>{"white mold", Sign::white_growth},
    Word<Sign>{"green mould", Sign::green_growth},
    Word<Sign>{"green mold", Sign::green_growth},
    Word<Sign>{"black mould", Sign::black_growth},
    Word<Sign>{"black mold", Sign::black_growth},
    Word<Sign>{"pink mould", Sign::pink_growth},
    Word<Sign>{"pink mold", Sign::pink_growth},
};
constexpr std::size_t kToldSigns = static_cast<std::size_t>(Sign::gas_loss);

std::array<Word<Cover>, rules::culture::kCovers> cover_words() {
  std::array<Word<Cover>, rules::culture::kCovers> words{};
  for (std::size_t i = 0; i < words.size(); ++i) {
    const auto cover = static_cast<Cover>(i);
    words[i] = {rules::culture::facts(cover).name, cover};
  }
  return words;
}

std::array<Word<Sign>, kToldSigns + kOtherSigns.size()> sign_words() {
  std::array<Word<Sign>, kToldSigns + kOtherSigns.size()> words{};
  for (std::size_t i = 0; i < kToldSigns; ++i) {
    const auto sign = static_cast<Sign>(i);
    words[i] = {rules::culture::facts(sign).name, sign};
  }
  std::copy(kOtherSigns.begin(), kOtherSigns.end(), words.begin() + kToldSigns);
  return words;
}

// Verbs, the words between their parts, and the first words of observations, of this version and of
// the sentences to come: an id given today must not turn a later sentence ambiguous.
constexpr std::array<std::string_view, 84> kReserved = {
    "new",        "jar",      "jars",    "move",    "to",        "add",        "sugar",
    "weigh",      "vessel",   "take",    "from",    "open",      "cover",      "observe",
    "measure",    "wake",     "retire",  "because", "withdraw",  "seen",       "alert",
    "alerts",     "defer",    "ask",     "place",   "places",    "at",         "by",
    "in",         "stage",    "rice",    "raw",     "cooked",    "sugar-kind", "topping",
    "empty",      "mouth",    "closed",  "origin",  "bubbling",  "rising",     "sinking",
    "syrup",      "crystals", "crust",   "wet",     "drops",     "warm",       "pressure",
    "sweet",      "alcohol",  "sour",    "rotten",  "white",     "green",      "black",
    "pink",       "insects",  "all",     "and",     "with",      "for",        "split",
    "collection", "stirred",  "spread",  "on",      "headspace", "level",      "test",
    "entry",      "smells",   "bubbles", "mould",   "mold",      "well",       "into",
    "where",      "trees",    "weather", "lay",     "looked",    "gathered",   "collections",
};

template <class Meaning, std::size_t size>
std::string_view name_in(const std::array<Word<Meaning>, size>& words, Meaning meaning) {
  for (const auto& word : words) {
    if (word.meaning == meaning) return word.name;
  }
  return "";
}

}  // namespace

std::span<const Word<Vessel>> vessels() { return kVessels; }
std::span<const Word<Cover>> covers() {
  static const auto words = cover_words();
  return words;
}
std::span<const Word<CookedWord>> cooked_words() { return kCookedWords; }
std::span<const Word<SugarKind>> sugar_kinds() { return kSugarKinds; }

std::span<const Word<Sign>> signs() {
  static const auto words = sign_words();
  return words;
}

std::string_view vessel_name(Vessel vessel) { return name_in(kVessels, vessel); }
std::string_view cover_name(Cover cover) { return rules::culture::facts(cover).name; }
std::string_view cooked_name(CookedWord cooked) { return name_in(kCookedWords, cooked); }
std::string_view sugar_kind_name(SugarKind kind) { return name_in(kSugarKinds, kind); }

std::string sign_names(const std::vector<Sign>& signs) {
  std::string text;
  for (const Sign sign : signs) {
    if (!text.empty()) text += ", ";
    text += rules::culture::facts(sign).name;
  }
  return text;
}

bool is_reserved_word(std::string_view word) {
  const std::string lower = lower_case(word);
  return std::find(kReserved.begin(), kReserved.end(), lower) != kReserved.end();
}

}  // namespace torpor::daemon

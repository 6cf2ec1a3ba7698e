#include "daemon/ledger/vocabulary.h"

#include <algorithm>
#include <array>

#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

constexpr std::array kVessels = {
    Word<Vessel>{"glass", Vessel::glass},
    Word<Vessel>{"ceramic", Vessel::ceramic},
    Word<Vessel>{"clay", Vessel::clay},
    Word<Vessel>{"plastic", Vessel::plastic},
};
constexpr std::array kCovers = {
    Word<Cover>{"tissue", Cover::tissue},
    Word<Cover>{"cloth", Cover::cloth},
    Word<Cover>{"paper", Cover::paper},
    Word<Cover>{"kraft", Cover::kraft},
    Word<Cover>{"double kraft", Cover::double_kraft},
    Word<Cover>{"waxed paper", Cover::waxed_paper},
    Word<Cover>{"film", Cover::film},
    Word<Cover>{"lid turned back", Cover::lid_turned_back},
    Word<Cover>{"tight lid", Cover::tight_lid},
    Word<Cover>{"airlock", Cover::airlock},
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

// Verbs, the words between their parts, and the first words of observations, of this version and of
// the sentences to come: an id given today must not turn a later sentence ambiguous.
constexpr std::array<std::string_view, 59> kReserved = {
    "new",      "jar",        "jars",     "move",     "to",     "add",     "sugar",   "weigh",
    "vessel",   "take",       "from",     "open",     "cover",  "observe", "measure", "wake",
    "retire",   "because",    "withdraw", "seen",     "alert",  "alerts",  "defer",   "ask",
    "place",    "places",     "at",       "by",       "in",     "stage",   "rice",    "raw",
    "cooked",   "sugar-kind", "topping",  "empty",    "mouth",  "closed",  "origin",  "bubbling",
    "rising",   "sinking",    "syrup",    "crystals", "crust",  "wet",     "drops",   "warm",
    "pressure", "sweet",      "alcohol",  "sour",     "rotten", "white",   "green",   "black",
    "pink",     "insects",    "all",
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
std::span<const Word<Cover>> covers() { return kCovers; }
std::span<const Word<CookedWord>> cooked_words() { return kCookedWords; }
std::span<const Word<SugarKind>> sugar_kinds() { return kSugarKinds; }

std::string_view vessel_name(Vessel vessel) { return name_in(kVessels, vessel); }
std::string_view cover_name(Cover cover) { return name_in(kCovers, cover); }
std::string_view cooked_name(CookedWord cooked) { return name_in(kCookedWords, cooked); }
std::string_view sugar_kind_name(SugarKind kind) { return name_in(kSugarKinds, kind); }

bool is_reserved_word(std::string_view word) {
  const std::string lower = lower_case(word);
  return std::find(kReserved.begin(), kReserved.end(), lower) != kReserved.end();
}

}  // namespace torpor::daemon

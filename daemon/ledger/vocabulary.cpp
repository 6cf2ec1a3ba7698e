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
    Word<Sign>{"fizzing", Sign::bubbling},
    Word<Sign>{"fizzy", Sign::bubbling},
    Word<Sign>{"foaming", Sign::bubbling},
    Word<Sign>{"pushed the lid up", Sign::pressure},
    Word<Sign>{"bulging", Sign::pressure},
    Word<Sign>{"crystal", Sign::crystals},
    Word<Sign>{"dry on top", Sign::crust},
    Word<Sign>{"hard crust", Sign::crust},
    Word<Sign>{"wet", Sign::wet_surface},
    Word<Sign>{"watery", Sign::syrup_on_top},
    Word<Sign>{"smells sweet", Sign::sweet_smell},
    Word<Sign>{"smells of alcohol", Sign::alcohol_smell},
    Word<Sign>{"smells like beer", Sign::alcohol_smell},
    Word<Sign>{"smells like wine", Sign::alcohol_smell},
    Word<Sign>{"smells of beer", Sign::alcohol_smell},
    Word<Sign>{"boozy", Sign::alcohol_smell},
    Word<Sign>{"smells sour", Sign::sour_smell},
    Word<Sign>{"smells like vinegar", Sign::sour_smell},
    Word<Sign>{"smells of vinegar", Sign::sour_smell},
    Word<Sign>{"smells rotten", Sign::rotten_smell},
    Word<Sign>{"smells bad", Sign::rotten_smell},
    Word<Sign>{"stinks", Sign::rotten_smell},
    Word<Sign>{"white mould", Sign::white_growth},
    Word<Sign>{"white mold", Sign::white_growth},
    Word<Sign>{"white fuzz", Sign::white_growth},
    Word<Sign>{"furry on top", Sign::white_growth},
    Word<Sign>{"green mould", Sign::green_growth},
    Word<Sign>{"green mold", Sign::green_growth},
    Word<Sign>{"green fuzz", Sign::green_growth},
    Word<Sign>{"green spots", Sign::green_growth},
    Word<Sign>{"blue growth", Sign::green_growth},
    Word<Sign>{"blue mould", Sign::green_growth},
    Word<Sign>{"blue mold", Sign::green_growth},
    Word<Sign>{"blue fuzz", Sign::green_growth},
    Word<Sign>{"black mould", Sign::black_growth},
    Word<Sign>{"black mold", Sign::black_growth},
    Word<Sign>{"black fuzz", Sign::black_growth},
    Word<Sign>{"black spots", Sign::black_growth},
    Word<Sign>{"pink mould", Sign::pink_growth},
    Word<Sign>{"pink mold", Sign::pink_growth},
    Word<Sign>{"pink fuzz", Sign::pink_growth},
    Word<Sign>{"pink slime", Sign::pink_growth},
    Word<Sign>{"pink spots", Sign::pink_growth},
    Word<Sign>{"ants", Sign::insects},
    Word<Sign>{"flies", Sign::insects},
    Word<Sign>{"mites", Sign::insects},
    Word<Sign>{"maggots", Sign::larvae},
    Word<Sign>{"grubs", Sign::larvae},
    Word<Sign>{"worms", Sign::larvae},
    Word<Sign>{"leak", Sign::leaking},
    Word<Sign>{"leaks", Sign::leaking},
    Word<Sign>{"overflowing", Sign::leaking},
    Word<Sign>{"crack", Sign::cracked},
    Word<Sign>{"burst", Sign::cracked},
    Word<Sign>{"broken", Sign::cracked},
    Word<Sign>{"froze", Sign::frozen},
    Word<Sign>{"ok", Sign::all_well},
    Word<Sign>{"fine", Sign::all_well},
    Word<Sign>{"looks good", Sign::all_well},
    Word<Sign>{"looks fine", Sign::all_well},
    Word<Sign>{"all good", Sign::all_well},
};
constexpr std::size_t kToldSigns = rules::culture::kToldSigns;

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
  std::size_t told = 0;
  for (std::size_t i = 0; i < rules::culture::kSigns; ++i) {
    const auto sign = static_cast<Sign>(i);
    if (rules::culture::facts(sign).by_keeper) {
      words[told++] = {rules::culture::facts(sign).name, sign};
    }
  }
  std::copy(kOtherSigns.begin(), kOtherSigns.end(), words.begin() + kToldSigns);
  return words;
}

// Verbs, the words between their parts, and the first words of observations, of this version and of
// the sentences to come: an id given today must not turn a later sentence ambiguous.
constexpr std::array<std::string_view, 119> kReserved = {
    "new",        "jar",      "jars",    "move",    "to",          "add",        "sugar",
    "weigh",      "vessel",   "take",    "from",    "open",        "cover",      "observe",
    "measure",    "wake",     "retire",  "because", "withdraw",    "seen",       "alert",
    "alerts",     "defer",    "ask",     "place",   "places",      "at",         "by",
    "in",         "stage",    "rice",    "raw",     "cooked",      "sugar-kind", "topping",
    "empty",      "mouth",    "closed",  "origin",  "bubbling",    "rising",     "sinking",
    "syrup",      "crystals", "crust",   "wet",     "drops",       "warm",       "pressure",
    "sweet",      "alcohol",  "sour",    "rotten",  "white",       "green",      "black",
    "pink",       "insects",  "all",     "and",     "with",        "for",        "split",
    "collection", "stirred",  "spread",  "on",      "headspace",   "level",      "test",
    "entry",      "smells",   "bubbles", "mould",   "mold",        "well",       "into",
    "where",      "trees",    "weather", "lay",     "looked",      "gathered",   "collections",
    "fizzing",    "fizzy",    "foaming", "pushed",  "bulging",     "crystal",    "dry",
    "hard",       "watery",   "boozy",   "stinks",  "furry",       "blue",       "fuzz",
    "ants",       "flies",    "mites",   "maggots", "grubs",       "worms",      "larvae",
    "leak",       "leaks",    "leaking", "cracked", "overflowing", "crack",      "burst",
    "broken",     "froze",    "frozen",  "ok",      "fine",        "looks",      "todo",
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

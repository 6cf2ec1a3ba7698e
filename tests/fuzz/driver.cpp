// Runs a fuzz target where libFuzzer is not at hand: the corpus as it is, then random mutations of
// it for a time or a number of runs. Blind: it does not see which code an input reaches.
//   fuzz_NAME [--seconds N | --runs N] [--seed N] [--longest BYTES] [--dictionary FILE] PATH...
// A PATH is a folder of inputs, which are mutated, or one file, which is run once to repeat a
// failure. An input that aborts, crashes or takes more than ten seconds is kept as
// failed-input-SEED in the working folder.
#include <fcntl.h>
#include <signal.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <string>
#include <vector>

#include "tests/fuzz/mutator.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
// Of the address sanitizer's run time, where that is linked in: it ends the process without a
// signal.
extern "C" __attribute__((weak)) void __sanitizer_set_death_callback(void (*callback)());

namespace {

namespace fs = std::filesystem;

constexpr unsigned kLongestRunSeconds = 10;

struct Options {
  double seconds = 0.0;
  std::uint64_t runs = 0;
  std::uint64_t seed = std::random_device{}();
  std::size_t longest = 8192;
  std::string dictionary;
  std::vector<fs::path> paths;
};

// What the signal handler needs: plain data that outlives every run.
const std::string* current_input = nullptr;
char failed_input_name[64] = "";

// Only calls that are allowed in a signal handler.
void keep_current_input() {
  if (current_input == nullptr) return;
  const int file = open(failed_input_name, O_WRONLY | O_CREAT | O_TRUNC, 0644);
  if (file < 0) return;
  const char* rest = current_input->data();
  std::size_t left = current_input->size();
  while (left > 0) {
    const ssize_t written = write(file, rest, left);
    if (written <= 0) break;
    rest += written;
    left -= static_cast<std::size_t>(written);
  }
  close(file);
  current_input = nullptr;
}

extern "C" void on_signal(int number) {
  keep_current_input();
  signal(number, SIG_DFL);
  raise(number);
}

void catch_failures(std::uint64_t seed) {
  std::snprintf(failed_input_name, sizeof failed_input_name, "failed-input-%llu",
                static_cast<unsigned long long>(seed));
  // A stack of its own: the handler must run when the stack has overflown.
  static char stack[64 * 1024];
  stack_t alternative{};
  alternative.ss_sp = stack;
  alternative.ss_size = sizeof stack;
  sigaltstack(&alternative, nullptr);
  struct sigaction action {};
  action.sa_handler = on_signal;
  action.sa_flags = SA_ONSTACK;
  for (const int number : {SIGABRT, SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGALRM}) {
    sigaction(number, &action, nullptr);
  }
  if (__sanitizer_set_death_callback != nullptr) __sanitizer_set_death_callback(keep_current_input);
}

void run(const std::string& input) {
  current_input = &input;
  alarm(kLongestRunSeconds);
  LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(input.data()), input.size());
  alarm(0);
  current_input = nullptr;
}

std::string contents(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

// libFuzzer's form: lines of "token", with \\, \" and \xNN, optionally NAME= before; # comments.
std::vector<std::string> read_dictionary(const std::string& path) {
  std::vector<std::string> tokens;
  std::ifstream file(path);
  for (std::string line; std::getline(file, line);) {
    const std::size_t first = line.find('"');
    const std::size_t last = line.rfind('"');
    if (line.starts_with("#") || first == std::string::npos || last == first) continue;
    std::string token;
    for (std::size_t i = first + 1; i < last; ++i) {
      if (line[i] != '\\') {
        token += line[i];
      } else if (line[++i] == 'x') {
        token += static_cast<char>(std::strtoul(line.substr(i + 1, 2).c_str(), nullptr, 16));
        i += 2;
      } else {
        token += line[i];
      }
    }
    tokens.push_back(token);
  }
  return tokens;
}

bool read_options(int argc, char** argv, Options& options) {
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (!word.starts_with("--")) {
      options.paths.emplace_back(word);
      continue;
    }
    if (++i == argc) return false;
    if (word == "--seconds") {
      options.seconds = std::atof(argv[i]);
    } else if (word == "--runs") {
      options.runs = std::strtoull(argv[i], nullptr, 10);
    } else if (word == "--seed") {
      options.seed = std::strtoull(argv[i], nullptr, 10);
    } else if (word == "--longest") {
      options.longest = std::strtoull(argv[i], nullptr, 10);
    } else if (word == "--dictionary") {
      options.dictionary = argv[i];
    } else {
      return false;
    }
  }
  return !options.paths.empty();
}

// The inputs of all folders, in an order that does not depend on the file system.
std::vector<std::string> read_corpus(const std::vector<fs::path>& paths) {
  std::vector<fs::path> files;
  for (const fs::path& path : paths) {
    if (!fs::is_directory(path)) continue;
    for (const auto& entry : fs::directory_iterator(path)) files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  std::vector<std::string> inputs;
  for (const fs::path& file : files) inputs.push_back(contents(file));
  return inputs;
}

// Mutations until the time or the number of runs is used up, whichever is given; the number done.
std::uint64_t run_mutations(const Options& options, const std::vector<std::string>& corpus) {
  using std::chrono::steady_clock;
  torpor::fuzz::Mutator mutator(corpus, read_dictionary(options.dictionary), options.longest,
                                options.seed);
  const auto end = steady_clock::now() + std::chrono::duration<double>(options.seconds);
  std::uint64_t done = 0;
  while (done < options.runs || steady_clock::now() < end) {
    run(mutator.next());
    ++done;
  }
  return done;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  if (!read_options(argc, argv, options)) {
    std::fprintf(stderr,
                 "usage: %s [--seconds N | --runs N] [--seed N] [--longest BYTES] "
                 "[--dictionary FILE] PATH...\n",
                 argv[0]);
    return 2;
  }
  catch_failures(options.seed);
  for (const fs::path& path : options.paths) {
    if (fs::is_directory(path)) continue;
    if (!fs::exists(path)) {
      std::fprintf(stderr, "%s does not exist\n", path.c_str());
      return 2;
    }
    run(contents(path));
  }
  const std::vector<std::string> corpus = read_corpus(options.paths);
  std::printf("seed %llu, %zu inputs in the corpus\n",
              static_cast<unsigned long long>(options.seed), corpus.size());
  std::fflush(stdout);
  for (const std::string& input : corpus) run(input);

  const std::uint64_t done = run_mutations(options, corpus);
  std::printf("%llu mutations, nothing broke\n", static_cast<unsigned long long>(done));
  return 0;
}

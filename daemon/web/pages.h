// The pages, made from the history as it stands: a path in, a whole page out. Every page is made
// through a read-only Reader of its own, so it never touches what watches. One thread at a time.
#pragma once

#include <chrono>
#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <string_view>

#include "config/settings.h"
#include "daemon/ledger/local_time.h"

namespace torpor::daemon {

struct PageSource {
  config::Settings settings;
  LocalTime zone;
  std::filesystem::path history, spool;
};

struct WebPage {
  int status = 200;
  std::string type;  // of the content
  std::string body;
  std::string packed;  // the body as gzip; empty: it does not pay
  std::string tag;     // ETag, with its quotes
};

class Pages {
 public:
  explicit Pages(PageSource source);

  // `path` as in a request's first line, with or without a query; nothing in it names a file.
  [[nodiscard]] std::shared_ptr<const WebPage> page(std::string_view path);
  // From the next page on.
  void use(PageSource source);

 private:
  struct Kept {
    std::shared_ptr<const WebPage> page;
    std::chrono::steady_clock::time_point made;
  };

  PageSource source_;
  std::map<std::string, Kept, std::less<>> kept_;
};

// A page that only says something, for what is refused: a heading and a sentence.
[[nodiscard]] std::string plain_page(std::string_view heading, std::string_view sentence);

}  // namespace torpor::daemon

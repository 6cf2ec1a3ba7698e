#include "daemon/ledger/names.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

namespace {

std::string called(const std::vector<std::string>& ids, std::string_view id) {
  NameIndex index;
  for (const std::string& each : ids) index.add(each);
  std::string names;
  for (const std::string& name : index.called(id)) names += name + " ";
  return names;
}

}  // namespace

TEST_CASE("an id is found without case, and short where that is unambiguous") {
  CHECK(called({"B-07"}, "b-07") == "B-07 ");
  CHECK(called({"B-07"}, "b7") == "B-07 ");
  CHECK(called({"B-07"}, "B_007") == "B-07 ");
  CHECK(called({"B-07", "B-70"}, "b7") == "B-07 ");
  CHECK(called({"B-07", "B-7"}, "b-7") == "B-7 ");
  CHECK(called({"B-07", "B-7"}, "b7") == "B-07 B-7 ");
  CHECK(called({"B-1-2", "B-12"}, "b12") == "B-1-2 B-12 ");
  CHECK(called({"B-1-02"}, "b-1-2") == "B-1-02 ");
  CHECK(called({"B-1-02"}, "b102") == "B-1-02 ");
  CHECK(called({"B-0"}, "b0") == "B-0 ");
  CHECK(called({"B-00"}, "b0") == "B-00 ");
  CHECK(called({"B-07"}, "b70") == "");
  CHECK(called({"B-07"}, "c7") == "");
  CHECK(called({}, "b7") == "");
}

TEST_CASE("a name that was removed is not found, and leaves the others") {
  NameIndex index;
  for (const char* each : {"B-07", "B-7", "b-1-02"}) index.add(each);
  index.remove("B-07");
  CHECK(index.called("b7") == std::vector<std::string>{"B-7"});
  CHECK(index.spelled("b-07") == nullptr);
  CHECK(*index.spelled("B-1-02") == "b-1-02");
  CHECK(index.all() == std::vector<std::string>{"B-7", "b-1-02"});
  index.remove("B-7");
  index.remove("b-1-02");
  CHECK(index.called("b7").empty());
  CHECK(index.empty());
}

TEST_CASE("a place is found as configured, else without case") {
  const std::vector<std::string> places = {"cellar", "cellar/shelf-2", "Loft", "loft"};
  CHECK(place_called(places, "cellar/shelf-2") == "cellar/shelf-2");
  CHECK(place_called(places, "Cellar/Shelf-2/") == "cellar/shelf-2");
  CHECK(place_called(places, "loft") == "loft");
  CHECK(place_called(places, "Loft") == "Loft");
  CHECK_FALSE(place_called(places, "LOFT"));
  CHECK_FALSE(place_called(places, "shelf-2"));
  CHECK_FALSE(place_called(places, "/"));
}

TEST_CASE("the nearest place is one that ends so, else the nearest by spelling") {
  const std::vector<std::string> places = {"cellar", "cellar/shelf-1", "cellar/shelf-2"};
  CHECK(nearest_place(places, "shelf-2") == "cellar/shelf-2");
  CHECK(nearest_place(places, "Shelf-2") == "cellar/shelf-2");
  CHECK(nearest_place(places, "celar") == "cellar");
  CHECK(nearest_place(places, "attic") == "");
}

}  // namespace torpor::daemon

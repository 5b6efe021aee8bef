#include "imaging/pictures.h"

#include <catch2/catch.hpp>

using namespace seamwright;

namespace {

// Where the pictures' pixels stand.
std::vector<const std::byte*> places_of(const Pictures& pictures) {
  std::vector<const std::byte*> places;
  for (const Image& picture : pictures) places.push_back(picture.bytes().data());
  return places;
}

}  // namespace

TEST_CASE("Pictures are those of images or of frames, none copied") {
  const std::vector<Image> images(3, Image(4, 2, Channels::rgb, SampleType::u16));
  CHECK(places_of(images) ==
        std::vector{images[0].bytes().data(), images[1].bytes().data(), images[2].bytes().data()});
  const std::vector<Frame> frames = {{images[0], {}}, {images[1], {}}};
  CHECK(places_of(frames) ==
        std::vector{frames[0].image.bytes().data(), frames[1].image.bytes().data()});
  CHECK(places_of(std::span(frames).first(1)) == std::vector{frames[0].image.bytes().data()});
  CHECK(places_of({images[2], images[0]}) ==
        std::vector{images[2].bytes().data(), images[0].bytes().data()});
  CHECK(Pictures().size() == 0);
  const Pictures both(frames);
  const Pictures again(both);
  CHECK(&again.front() == &frames[0].image);
  CHECK(&again[1] == &frames[1].image);
}

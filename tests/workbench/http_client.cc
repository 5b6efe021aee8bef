#include "tests/workbench/http_client.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <utility>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

namespace seamwright::test {

namespace {

constexpr int kPatience_s = 60;

HttpReply head_from(const std::string& text) {
  HttpReply reply;
  constexpr std::size_t kStatusAt = 9;  // behind "HTTP/1.1 "
  if (text.size() > kStatusAt + 3) reply.status = std::stoi(text.substr(kStatusAt, 3));
  for (std::size_t at = text.find("\r\n"); at != std::string::npos;) {
    const std::size_t end = text.find("\r\n", at + 2);
    const std::string line = text.substr(at + 2, end == std::string::npos ? end : end - at - 2);
    const std::size_t colon = line.find(": ");
    std::string name = line.substr(0, colon);
    std::transform(name.begin(), name.end(), name.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    if (colon != std::string::npos) reply.headers[name] = line.substr(colon + 2);
    at = end;
  }
  return reply;
}

}  // namespace

RawClient::RawClient(int port, int receive_bytes) : socket_(::socket(AF_INET, SOCK_STREAM, 0)) {
  const timeval patience{kPatience_s, 0};
  ::setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
  ::setsockopt(socket_, SOL_SOCKET, SO_SNDTIMEO, &patience, sizeof patience);
  const int on = 1;
  ::setsockopt(socket_, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
  if (receive_bytes > 0) {
    ::setsockopt(socket_, SOL_SOCKET, SO_RCVBUF, &receive_bytes, sizeof receive_bytes);
  }
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(static_cast<std::uint16_t>(port));
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (::connect(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    ended_ = true;
  }
}

RawClient::RawClient(RawClient&& other) noexcept
    : socket_(std::exchange(other.socket_, -1)),
      ended_(other.ended_),
      read_(std::move(other.read_)) {}

RawClient::~RawClient() {
  if (socket_ >= 0) ::close(socket_);
}

bool RawClient::send(std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t count = ::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (count <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  return true;
}

void RawClient::finish_sending() { ::shutdown(socket_, SHUT_WR); }

bool RawClient::read_more() {
  std::array<char, 65536> piece{};
  const ssize_t count = ::recv(socket_, piece.data(), piece.size(), 0);
  if (count > 0) read_.append(piece.data(), static_cast<std::size_t>(count));
  if (count == 0 || (count < 0 && errno != EAGAIN)) ended_ = true;
  return count > 0;
}

HttpReply RawClient::reply_head() {
  std::size_t end = read_.find("\r\n\r\n");
  while (end == std::string::npos && read_more()) end = read_.find("\r\n\r\n");
  if (end == std::string::npos) return {};
  HttpReply reply = head_from(read_.substr(0, end));
  read_.erase(0, end + 4);
  return reply;
}

HttpReply RawClient::reply() {
  HttpReply reply = reply_head();
  const auto length = reply.headers.find("content-length");
  const std::size_t size = length != reply.headers.end()              ? std::stoul(length->second)
                           : reply.status == 204 || reply.status == 0 ? 0
                                                                      : std::string::npos;
  while (read_.size() < size && read_more()) {
  }
  reply.body = read_.substr(0, size);
  read_.erase(0, size);
  return reply;
}

std::optional<std::string> RawClient::to_end() {
  while (!ended_ && read_more()) {
  }
  return ended_ ? std::optional(read_) : std::nullopt;
}

std::string request_text(const std::string& method, const std::string& path,
                         const HttpHeaders& headers, const std::string& body) {
  std::string text = method + " " + path + " HTTP/1.1\r\n";
  for (const auto& [name, value] : headers) text += name + ": " + value + "\r\n";
  if (!body.empty()) text += "Content-Length: " + std::to_string(body.size()) + "\r\n";
  return text + "\r\n" + body;
}

}  // namespace seamwright::test

"""ESP32, ESP32-S3 and ESP32-C3 boards."""
